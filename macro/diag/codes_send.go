package diag

// sendCodes are the codes of rendering and sending messages.
var sendCodes = []Entry{}
