package diag

// rehearseCodes are the codes of sim/rehearse: what did not go as a rehearsal
// says.
var rehearseCodes = []Entry{
	{"expectation-missed", Error, "expectation of a rehearsal missed",
		"What the crew counts on at this point of the show is not what happens."},
	{"alert-missed", Error, "expected alert not raised",
		"The crew waits for a warning that never comes."},
	{"finding-missed", Error, "expected finding not found",
		"The rehearsal shows a trouble that is no longer there, so what it teaches is out of date."},
	{"button-not-showing", Error, "pressed button not showing",
		"Whoever presses at this point hits whatever button stands in that place on the page that is showing."},
	{"nothing-on-standby", Error, "go with nothing on standby",
		"At the end of the rundown go does nothing, and the cue that was meant is never fired."},
}
