package diag

// planCodes are the codes of reading and checking a routing plan.
var planCodes = []Entry{}
