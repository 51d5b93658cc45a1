package diag

// fileCodes are the codes of finding files and of calling the program.
var fileCodes = []Entry{
	{"missing-file", Error, "a file is not there",
		"Nothing can be checked, so nothing about the show is known to be right."},
	{"unusable-file", Error, "a file cannot be used",
		"Nothing can be checked, so nothing about the show is known to be right."},
	{"wrong-usage", Error, "the program was called in a way that it does not know",
		"Nothing was done; the show is as it was before."},
}
