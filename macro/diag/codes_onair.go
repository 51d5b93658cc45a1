package diag

// onairCodes are the codes of the built-in on-air checks of sim/onair.
var onairCodes = []Entry{}
