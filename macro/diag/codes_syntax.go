package diag

// syntaxCodes are the codes of reading a show file.
var syntaxCodes = []Entry{}
