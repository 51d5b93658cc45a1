package diag

// programCodes are the codes of reading a compiled program file. They stand
// for the errors of macro/program: ErrNotProgram, ErrNewer, ErrTooLarge and
// ErrDamaged.
var programCodes = []Entry{
	{"program-unknown", Error, "a file that is no compiled show",
		"The controller has nothing to run, and every button stays dark."},
	{"program-newer", Error, "a compiled show of a newer Cuewright",
		"What this version does not know it could do wrong in front of people, so it does nothing."},
	{"program-too-large", Error, "a compiled show larger than is read",
		"A controller that runs out of memory stops in the middle of the show."},
	{"program-damaged", Error, "a compiled show that is not whole",
		"A single wrong number could put the wrong picture on every screen."},
}
