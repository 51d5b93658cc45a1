package diag

// sendCodes are the codes of rendering and sending messages.
var sendCodes = []Entry{
	{"unknown-message-value", Error, "a message uses a value that it does not have",
		"The message cannot be made, so the device would never be told."},
	{"unreadable-message", Error, "a message of the plan cannot be read",
		"The message cannot be made, so the device would never be told."},
	{"mismatched-message-value", Error, "a value of a message is of the wrong kind",
		"The device would get a value that it does not understand, and would do nothing or the wrong thing."},
	{"refused-message-value", Error, "a value cannot be put into its message",
		"The device would do something else than was meant, or take no notice."},
	{"broken-address", Error, "an address that no device can have",
		"The message would be thrown away on arrival without a word."},
	{"broken-header", Error, "a header that cannot be sent",
		"The device would refuse the request or take it for another one."},
	{"oversized-message", Error, "a message is too large",
		"A device may cut it short or throw it away, and the press would do nothing."},
	{"crosspoint-not-sendable", Warning, "a route goes through a device that the plan does not say how to switch",
		"The picture gets as far as that device and no farther, unless somebody switches it by hand."},
	{"unknown-heard-field", Error, "a device reports something that is not part of the show",
		"What the device says would be lost, and the lamps would show a guess."},
	{"unknown-meaning", Error, "a reported value has no meaning",
		"What the device says would be lost, and the lamps would show a guess."},
}
