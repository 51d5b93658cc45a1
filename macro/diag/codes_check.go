package diag

import "slices"

// checkCodes are the codes of checking a show against its plan: conditions
// first, then names, actions, scripts, pages, cues and allowances.
var checkCodes = []Entry{
	{"condition-unreadable", Error, "a condition that makes no sense as written",
		"A condition that cannot be read cannot be tested, so the step that waits for it would never be right."},
	{"condition-unsupported", Error, "something that conditions cannot do",
		"Conditions ask for few things so that every one of them can be decided before the doors open."},
	{"condition-too-long", Error, "a condition too long or too deep",
		"Nobody can see at a glance whether such a condition is right, and nobody has time to on the night."},
	{"condition-type", Error, "a condition that no yes or no answers",
		"Without a yes or no that can change, the show would go the same way whatever the rack does."},
	{"unknown-field", Error, "a thing that has no such field",
		"What a thing cannot tell will never become true, however long the show waits for it."},
	{"never-true", Error, "a comparison that always comes out the same",
		"The script would wait in vain, or always take the other way, in front of the audience."},

	{"unknown-name", Error, "a name that nothing has",
		"A misspelt name is a button that does nothing when it is pressed."},
	{"wrong-kind", Error, "a thing of the wrong kind",
		"The device that is named cannot do what is asked of it, so the press would be lost."},
	{"name-taken", Error, "a name given twice",
		"Of two under one name only one can count, and it may be the wrong one."},
	{"never-run", Warning, "a macro or salvo that nothing runs",
		"It was written for a moment of the show, and at that moment no button and no cue will start it."},
	{"unused-parameter", Warning, "a parameter that the macro does not use",
		"Whoever runs the macro believes that the value matters, and it does not."},
	{"missing-argument", Error, "a value that is missing",
		"Without the value there is no telling which clip, camera or time is meant."},
	{"unknown-argument", Error, "a value that was not asked for",
		"A value that nothing takes is nearly always a misspelt name, and the right one is then missing."},
	{"macro-circle", Error, "macros that run each other for ever",
		"A show that goes in circles never ends, and nobody can rehearse it to the end."},
	{"too-many-calls", Error, "a macro run with too many different values",
		"Every way to run a macro is worked out beforehand, and so many ways would not fit."},

	{"empty-together", Warning, "a together that does nothing",
		"Whoever wrote it meant something to happen side by side, and nothing will."},
	{"named-twice", Warning, "a thing named twice in one list",
		"The second name was most likely meant for something else, which will not be done."},

	{"not-a-pick", Error, "a source that the bank cannot select",
		"The mix bank has no input that brings this picture, so the cut would go to something else or nowhere."},
	{"refused-picture", Error, "a picture that the destination refuses",
		"The plan says that this picture must never be seen there, and this would show it."},
	{"hard-patched", Error, "a route to an output that never changes",
		"The cable comes from an output that always shows one thing, so the route would change nothing."},
	{"not-robotic", Error, "a stored shot of a camera that does not move",
		"A fixed camera keeps its picture, and the operator would wait for a move that never comes."},
	{"unknown-shot", Error, "a shot that the camera does not store",
		"The camera would stay where it is or go where nobody looked."},
	{"unknown-clip", Error, "a clip that the deck does not have",
		"The deck would stay empty, and a mix to it would show black or a frozen picture."},
	{"send-value", Error, "a value outside what the message takes",
		"The plan says what the device accepts; anything else may be taken for something quite different."},
	{"action-not-sendable", Warning, "an action that the plan does not say how to send",
		"The button will light up and nothing will reach the device."},
	{"device-not-controlled", Warning, "a device that is used but not controlled",
		"The plan has no `control` part for it, so nothing will be sent and somebody must press by hand."},
	{"not-in-salvo", Error, "something that a salvo cannot hold",
		"A salvo is fired all at once, so nothing in it may take time or decide anything."},

	{"duration-unreadable", Error, "a time that cannot be read",
		"A time that is misread by a frame or by an hour is seen on air."},
	{"duration-zero", Error, "a time of nothing",
		"What takes no time never has a chance to happen."},
	{"long-transition", Warning, "a transition of more than a minute",
		"So slow a mix looks like a fault, and no other can start on the bank while it runs."},
	{"hold-time", Warning, "a hold that is hard to hit",
		"Under a fifth of a second every press is a hold, and over ten seconds nobody waits for it."},
	{"long-wait", Warning, "a cue that waits for more than an hour",
		"Nobody will remember that this cue is still running."},

	{"button-off-grid", Error, "a button outside the surface",
		"There is no key under it, so it can never be pressed."},
	{"place-taken", Error, "two buttons in one place",
		"Only one of them can be under the finger, and it may be the wrong one."},
	{"label-missing", Advice, "a button without a label",
		"In the dark nobody remembers what the blank key does."},
	{"label-long", Advice, "a label too long for a key",
		"A small key shows about fourteen characters, and the end of the label is what tells keys apart."},
	{"page-not-on-surface", Error, "a page that the surface does not have",
		"The surface would have to turn to a page that was not made for its keys."},
	{"page-out-of-reach", Warning, "a page that nothing turns to",
		"Its buttons are there, and nobody can get to them."},
	{"stop-unguarded", Warning, "recording or stream stopped by an open button",
		"One slip of a finger ends the recording or the stream, and what was missed cannot be got back."},

	{"second-rundown", Error, "more than one rundown",
		"With two lists of cues, `go` would not know which is the next."},
	{"cue-order", Error, "cues that do not rise",
		"Cues are called by number, and a crew expects 4 after 3."},
	{"cue-twice", Error, "two cues with one number",
		"Called by its number, the wrong one of the two would fire."},
	{"unknown-cue", Error, "a cue that the rundown does not have",
		"Nothing would fire when it is called."},
	{"follow-later", Error, "a cue that follows one after it",
		"A cue can only follow what came before it, else the rundown would run by itself in a circle."},
	{"go-in-cue", Error, "a cue that fires a cue by number",
		"Cues that fire each other can go in circles, and then the rundown never stops."},

	{"rule-twice", Warning, "the same rule twice",
		"One of the two was meant to say something else, and that is not being watched."},
	{"no-button-there", Error, "a press where there is no button",
		"A rehearsal that presses nothing proves nothing."},
	{"fault-unfit", Error, "a fault that the device cannot have",
		"Rehearsing a fault that cannot happen hides the one that can."},
	{"unknown-code", Error, "a finding that does not exist",
		"A misspelt code accepts nothing, or waits for a finding that never comes."},
	{"error-allowed", Error, "an error that is allowed",
		"An error has no meaning that could be played, so no reason makes it safe."},
	{"date-unreadable", Error, "a date that cannot be read",
		"An allowance that should end must say when, else it lasts past the night that it was for."},
	{"stale-allowance", Warning, "an allowance that allows nothing",
		"Whoever reads it believes that somebody has looked at the risk, and it covers none or no longer does."},
}

// IsCheck says whether checking a show against its plan finds that code.
func IsCheck(code Code) bool { return has(checkCodes, code) }

// IsOnAir says whether the built-in on-air checks find that code.
func IsOnAir(code Code) bool { return has(onairCodes, code) }

func has(table []Entry, code Code) bool {
	return slices.ContainsFunc(table, func(e Entry) bool { return e.Code == code })
}
