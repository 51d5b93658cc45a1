package diag

// wireCodes are the codes of what goes wrong between the program and a device.
var wireCodes = []Entry{
	{"device-no-answer", Error, "the device does not answer",
		"Whatever is pressed for this device has no effect, and nobody is told by the picture."},
	{"device-refused", Error, "nothing listens at the device's address",
		"The box is there but its control is off or on another port, so presses for it are lost."},
	{"device-unreachable", Error, "there is no way to the device's address",
		"A cable, a switch or an address plan is wrong, and every press for this device is lost."},
	{"device-hung-up", Error, "the device ended the connection",
		"The message may or may not have been carried out, so look at the device before you press again."},
	{"device-said-no", Error, "the device answered that it did not do it",
		"The picture stays as it was although the button was pressed."},
	{"device-redirects", Error, "the device points to another address",
		"Following it could hand the login to another machine, so the message is not carried out."},
	{"device-answer-garbled", Error, "the device's answer cannot be read",
		"What listens there is perhaps not the device, so nobody can say what the press did."},
	{"device-not-trusted", Error, "the device's certificate is not trusted",
		"Another machine may be answering in its place, so the login is kept back and nothing is sent."},
	{"credential-missing", Error, "a login or token is not set",
		"The device would refuse every message of the night."},
	{"credential-unusable", Error, "a login or token cannot be sent as it is",
		"The device would refuse every message of the night."},
}
