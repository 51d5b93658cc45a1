package program

// Message is one message, rendered to the byte. Exactly one of OSC and HTTP
// is set. Text is for people.
type Message struct {
	Command Command
	Device  int32
	OSC     []byte
	HTTP    *Request
	Text    string
}

// Request is an HTTP request. Login and token are added when it is sent.
type Request struct {
	Method string
	Target string
	Header [][2]string
	Body   []byte
}

// Observation says what is heard from a device and what it means.
// OSC: Path and Arg. HTTP: Method, Target, Every and Pointer.
type Observation struct {
	Device  int32
	Path    string
	Arg     int32
	Method  string
	Target  string
	Every   int64
	Pointer string
	Var     int32
	Means   []Meaning
	At      Place
}

// Meaning is a value heard, in the text form that targets give it (a whole
// number "3", another "0.5", text as it is, true and false), and the value of
// the variable.
type Meaning struct {
	Heard string
	Value uint32
}
