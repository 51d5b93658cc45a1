package diag

// programCodes are the codes of reading a compiled program file.
var programCodes = []Entry{}
