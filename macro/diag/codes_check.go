package diag

// checkCodes are the codes of checking a show against its plan.
var checkCodes = []Entry{}
