package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/source"
	"cuewright/macro/timecode"
)

// actions are the actions of Does that a kind of device can carry out.
var actions = map[DeviceKind][]string{
	Mixer:    {"cut", "preset", "take", "mix", "wipe", "fade", "key", "crosspoint"},
	Router:   {"crosspoint"},
	Deck:     {"load", "play", "pause", "stop"},
	Recorder: {"record", "stop"},
	Encoder:  {"start", "stop"},
	Camera:   {"recall"},
	Power:    {"switch"},
}

// wires are the wires, as `to` begins.
var wires = []Wire{OSCUDP, OSCTCP, OSCSLIP, HTTP, HTTPS}

const (
	defaultDeadline = timecode.Micros(1_000_000)
	defaultEvery    = timecode.Micros(1_000_000)
)

// control reads how a device is reached and told what to do.
func (r *reader) control(key, body *node) {
	d := r.deviceNamed(key.at, key.text, "a device")
	f, ok := r.fields(body, "a control part", "to", "login", "token", "deadline", "does", "hears")
	if d == nil || !ok {
		return
	}
	c := &Control{Device: d, Does: map[string]*Template{}, At: key.at,
		Deadline: r.duration(f.get("deadline"), "the deadline", defaultDeadline)}
	if n := f.need("to", "it is the address of the device, as `osc.udp://192.168.1.20:9000`"); n != nil {
		r.address(c, n)
	}
	c.Login = r.secret(c, f.get("login"), "login")
	c.Token = r.secret(c, f.get("token"), "token")
	if c.Login != "" && c.Token != "" {
		r.lose(diag.New("bad-message", f.get("token").at, "a device has a `login` or a `token`, not both").
			With(f.get("login").at, "the login"))
	}
	d.Control = c
	r.each(f.get("does"), "the actions", func(k, n *node) { r.does(c, k, n) })
	for _, n := range r.items(f.get("hears"), "what is heard") {
		r.hears(c, n)
	}
}

// Address is where a device is reached and how: Base is the path that every
// request begins with, without a slash at its end; OSC has none.
type Address struct {
	Wire       Wire
	Host, Base string // host:port; for HTTP the port may be left out
}

// WrongAddress is why a text is no address, in the user's words and with no
// secret in it. Write is what to do about it, or "".
type WrongAddress struct {
	Code        diag.Code
	What, Write string
}

// ParseAddress reads `wire://host:port` and, for HTTP, a path. The second value
// is nil when it is one.
func ParseAddress(text string) (Address, *WrongAddress) {
	wire, rest, found := strings.Cut(text, "://")
	bad := func(write, what string, args ...any) (Address, *WrongAddress) {
		return Address{}, &WrongAddress{"bad-address", fmt.Sprintf(what, args...), write}
	}
	if !found || !slices.Contains(wires, Wire(wire)) {
		var known []string
		for _, w := range wires {
			known = append(known, string(w)+"://")
		}
		return bad("", "the address does not begin with %s", nearest.Quote(known))
	}
	host, path := rest, ""
	if i := strings.IndexByte(rest, '/'); i >= 0 {
		host, path = rest[:i], rest[i:]
	}
	web := wire == string(HTTP) || wire == string(HTTPS)
	path = strings.TrimRight(path, "/")
	switch {
	case strings.Contains(host, "@"), strings.Contains(path, "@") && badHost(host, web) != "": // a password may hold a slash
		return Address{}, &WrongAddress{"secret-in-plan", "a login stands in the address",
			"write `login: NAME`, and put user:password into the environment variable NAME"}
	case path != "" && !web:
		return bad(fmt.Sprintf("write `%s://%s`", wire, host), "`%s` is a path, and OSC messages bring their own", path)
	case strings.ContainsAny(path, "?#{} ") || !printable(path):
		return bad("", "`%s` is not a path that every request can begin with", path)
	}
	if why := badHost(host, web); why != "" {
		return bad(fmt.Sprintf("write it as `%s://host:port`", wire), "%s", why)
	}
	return Address{Wire(wire), host, path}, nil
}

// address reads where a device is.
func (r *reader) address(c *Control, n *node) {
	text, ok := r.words(n, "the address")
	if !ok {
		return
	}
	a, wrong := ParseAddress(text)
	if wrong == nil {
		c.Wire, c.Address, c.Base = a.Wire, a.Host, a.Base
		return
	}
	d := diag.New(wrong.Code, n.at, "%s", wrong.What)
	if wrong.Write != "" {
		d = d.Mend("%s", wrong.Write)
	}
	r.lose(d)
}

// badHost says what is wrong with host:port, or "". HTTP has a port of its own.
func badHost(host string, web bool) string {
	name, port := host, ""
	if i := strings.LastIndexByte(host, ':'); i >= 0 && !strings.HasSuffix(host, "]") {
		name, port = host[:i], host[i+1:]
	}
	number, err := strconv.Atoi(port)
	bare := strings.TrimSuffix(strings.TrimPrefix(name, "["), "]")
	switch {
	case name == "":
		return "the address has no host"
	case port == "" && !(web && name == host):
		return fmt.Sprintf("`%s` has no port", host)
	case port != "" && (err != nil || number < 1 || number > 65535):
		return fmt.Sprintf("`%s` is not a port from 1 to 65535", port)
	case strings.ContainsAny(bare, " \t?#%/\\[]{}\"<>") || !printable(bare) || bare == name && strings.Contains(bare, ":"):
		return fmt.Sprintf("`%s` is not a host", name)
	}
	return ""
}

func printable(text string) bool {
	for i := range len(text) {
		if text[i] <= ' ' || text[i] > '~' {
			return false
		}
	}
	return true
}

// secret reads the name of an environment variable that holds a secret. What
// looks like the secret itself is refused, and never repeated.
func (r *reader) secret(c *Control, n *node, what string) string {
	if n == nil {
		return ""
	}
	text, ok := r.words(n, "the "+what)
	if !ok {
		return ""
	}
	for i, b := range []byte(text) {
		if b >= 'A' && b <= 'Z' || i > 0 && (b == '_' || b >= '0' && b <= '9') {
			continue
		}
		r.lose(diag.New("secret-in-plan", n.at, "`%s` wants the name of an environment variable, in capital letters, digits and `_`", what).
			Mend("write `%s: %s_%s`, and put the %s into that variable", what, strings.ToUpper(wordily(c.Device.Name)), strings.ToUpper(what), what))
		return ""
	}
	if c.Wire != "" && c.Wire != HTTP && c.Wire != HTTPS {
		r.lose(diag.New("bad-message", n.at, "OSC has no `%s`", what).Mend("delete it"))
		return ""
	}
	return text
}

// does reads how one action is said.
func (r *reader) does(c *Control, key, body *node) {
	able := actions[c.Device.Kind]
	if !slices.Contains(able, key.text) {
		if r.broken[c.Device] {
			return
		}
		d := diag.New("unknown-action", key.at, "`%s` is %s and has no action `%s`", c.Device.Name, withArticle(string(c.Device.Kind)), key.text)
		near := nearest.Names(key.text, able)
		for _, name := range near {
			d = d.Replace(key.at, name, false, "write `%s`", name)
		}
		switch {
		case len(near) > 0:
		case len(able) > 0:
			d = d.Mend("its actions are %s", nearest.Quote(able))
		default:
			d = d.Mend("write it under `messages`, and `send` it")
		}
		r.lose(d)
		return
	}
	if t := r.template(c, body, "an action"); t != nil {
		c.Does[key.text] = t
	}
}

func withArticle(word string) string {
	if strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}

// hears reads how something heard becomes state.
func (r *reader) hears(c *Control, n *node) {
	f, ok := r.fields(n, "something heard", "osc", "arg", "request", "every", "at", "sets", "means")
	if !ok {
		return
	}
	o := &Observation{At: n.at, Pointer: "body"}
	sets := f.need("sets", "it is what changes, as `deck.state`")
	if !r.way(c, f, n.at) || sets == nil {
		return
	}
	if osc := f.get("osc"); osc != nil {
		o.Path, ok = r.words(osc, "the OSC address")
		ok = ok && r.oscAddress(o.Path, osc.at)
		if arg := f.get("arg"); arg != nil {
			o.Arg, _ = r.number(arg, "the argument", 0, 255)
		}
		r.notFor(f, "OSC", "every", "at")
	} else {
		o.Method, o.Target, ok = r.request(f.get("request"))
		o.Every = max(r.duration(f.get("every"), "`every`", defaultEvery), 1000)
		if at := f.get("at"); at != nil {
			o.Pointer, _ = r.words(at, "the place in the answer")
			r.pointer(o.Pointer, at.at)
		}
		r.notFor(f, "a request", "arg")
	}
	text, isText := r.words(sets, "what changes")
	if !ok || !isText {
		return
	}
	o.Sets = Words{text, sets.inside()}
	r.each(f.get("means"), "the meanings", func(key, body *node) {
		if value, ok := r.words(body, "a meaning"); ok {
			o.Means = append(o.Means, Meaning{key.text, value, key.at.To(body.at)})
		}
	})
	c.Hears = append(c.Hears, o)
}

// pointer checks a JSON pointer (RFC 6901, section 3) or one of our two words.
func (r *reader) pointer(text string, at source.Span) {
	if text == "status" || text == "body" {
		return
	}
	bad := !strings.HasPrefix(text, "/")
	for i := range len(text) {
		if text[i] == '~' && (i+1 == len(text) || text[i+1] != '0' && text[i+1] != '1') {
			bad = true
		}
	}
	if bad {
		r.lose(diag.New("bad-message", at, "`%s` is neither a JSON pointer, as `/state`, nor `status` nor `body`", text))
	}
}

// notFor reports keys that mean nothing beside what else is written.
func (r *reader) notFor(f fields, what string, keys ...string) {
	for _, key := range keys {
		if n := f.items[key]; n != nil {
			r.lose(diag.New("bad-message", n.at, "`%s` means nothing for %s", key, what).Mend("delete it"))
		}
	}
}
