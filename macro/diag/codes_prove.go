package diag

// proveCodes are the codes of sim/prove: what goes through everything that can
// happen found, beside the codes of the on-air checks.
var proveCodes = []Entry{
	{"rule-broken", Error, "rule of the show broken",
		"What the show promises never to do, or always to be able to do, comes out otherwise with these presses."},
	{"rule-never-tried", Warning, "rule that is never put to the test",
		"A rule whose while never comes about holds for nothing, and whoever relies on it is not protected."},
	{"button-out-of-reach", Warning, "button that can never be pressed",
		"Whoever looks for this button on the night will not find any way to its page."},
	{"cue-out-of-reach", Warning, "cue that is never fired",
		"The crew waits for a cue that never comes, however often go is pressed."},
	{"step-never-runs", Warning, "step of a script that never runs",
		"What was written for a certain moment is not done, because that moment never comes."},
	{"wait-without-end", Warning, "wait that never ends",
		"The script hangs here for the rest of the evening, and everything after it is left out."},
	{"salvo-without-effect", Warning, "salvo that never changes anything",
		"The button answers and nothing happens, so the operator presses again and looks for a fault that is none."},
}

// IsProof says whether only a proof finds that code.
func IsProof(code Code) bool { return has(proveCodes, code) }
