package render_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/check"
	"cuewright/macro/diag"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/targets/osc"
	"cuewright/targets/render"
)

// hall is a rack of one machine with one message; %s is the wire and the
// message.
const hall = `rack: Hall
rate: 50
devices:
  hall: { kind: machine }
control:
  hall: { to: %s }
messages:
  it: { device: hall, %s }
`

// rendered compiles a show that sends once and renders it.
func rendered(t testing.TB, wire, message, send string) (*program.Program, diag.List) {
	t.Helper()
	return show(t, fmt.Sprintf(hall, wire, message), fmt.Sprintf("show \"x\" uses \"rack.yaml\"\nrundown { cue 1 \"x\" { %s } }\n", send))
}

func show(t testing.TB, rackText, showText string) (*program.Program, diag.List) {
	t.Helper()
	rack, found := plan.Read(source.New("rack.yaml", []byte(rackText)))
	tree, more := syntax.Parse(source.New("x.show", []byte(showText)))
	info, still := check.Show(tree, rack)
	if all := slices.Concat(found, more, still); all.Blocking() {
		t.Fatalf("the example is wrong: %v\n%s\n%s", all, rackText, showText)
	}
	p := lower.Show(info)
	return p, render.Messages(p, rack)
}

const (
	udp  = "osc.udp://127.0.0.1:9000"
	http = "http://127.0.0.1:9000/api"
)

// TestOSC: templates, and the address and arguments that come of them. The
// bytes are held against the packets of OSC 1.0's own example page
// (opensoundcontrol.org, spec-1_0-examples) and against targets/osc.
func TestOSC(t *testing.T) {
	tests := []struct{ message, send, want string }{
		{`osc: /oscillator/4/frequency, args: [{ f: "440.0" }]`, "send it", "/oscillator/4/frequency f:440"},
		{`osc: /foo, args: [1000, -1, "'hello'", { f: 1.234 }, { f: 5.678 }]`, "send it", `/foo i:1000 i:-1 s:"hello" f:1.234 f:5.678`},
		{`osc: /a`, "send it", "/a"},
		{`takes: { n: 0..100 }, osc: "/a/{n}/b", args: [n, n / 8, n > 50]`, "send it(n: 50)", "/a/50/b i:50 f:6.25 F:false"},
		{`takes: { n: 0..100 }, osc: "/a/{int(n) + 1}"`, "send it(n: 50)", "/a/51"},
		{`takes: { n: 0..100 }, osc: /a, args: [{ i: n }, { h: n }, { d: n }]`, "send it(n: 7)", "/a i:7 h:7 d:7"},
		{`takes: { s: text }, osc: "/a/{lower(s)}", args: [s + "!", { S: s }, { b: s }, len(s)]`, `send it(s: "HALF")`,
			`/a/half s:"HALF!" S:"HALF" b:4 bytes 48414c46 i:4`},
		{`takes: { s: text }, osc: /a, args: [{ c: s }, { T: "s == 'x'" }, { N: "1" }, { I: "1" }]`, `send it(s: "x")`,
			"/a c:'x' T:true N:null I:infinitum"},
		{`takes: { n: 0..9 }, osc: /a, args: ["n > 5 ? 'high' : 'low'", "round(n / 2)", "min(n, 3)", "abs(n - 9)"]`, "send it(n: 6)",
			`/a s:"high" i:3 i:3 i:3`},
	}
	for _, c := range tests {
		t.Run(c.message, func(t *testing.T) {
			p, found := rendered(t, udp, c.message, c.send)
			if len(found) > 0 || len(p.Messages) != 1 {
				t.Fatal(found, p.Messages)
			}
			m := p.Messages[0]
			if m.Text != c.want {
				t.Errorf("%s, want %s", m.Text, c.want)
			}
			packet, err := osc.Decode(m.OSC)
			if err != nil {
				t.Fatal(err)
			}
			if back, err := osc.Encode(packet.(osc.Message)); err != nil || !bytes.Equal(back, m.OSC) {
				t.Errorf("%x decodes and encodes to %x, %v", m.OSC, back, err)
			}
		})
	}
	p, _ := rendered(t, udp, tests[0].message, "send it")
	if got := hex.EncodeToString(p.Messages[0].OSC); got != "2f6f7363696c6c61746f722f342f6672657175656e6379002c66000043dc0000" {
		t.Errorf("the first example of OSC 1.0 is %s", got)
	}
	p, _ = rendered(t, udp, tests[1].message, "send it")
	if got := hex.EncodeToString(p.Messages[0].OSC); got != "2f666f6f000000002c69697366660000000003e8ffffffff68656c6c6f0000003f9df3b640b5b22d" {
		t.Errorf("the second example of OSC 1.0 is %s", got)
	}
}

// TestHTTP: templates, and the requests that come of them, as text.
func TestHTTP(t *testing.T) {
	tests := []struct{ message, send, want string }{
		{`request: PUT /a`, "send it", "PUT /api/a\n\n"},
		{`takes: { s: text }, request: "PUT /clip/{s}?q={s}"`, `send it(s: "x/../y?z &#1")`,
			"PUT /api/clip/x%2F..%2Fy%3Fz%20&%231?q=x%2F..%2Fy%3Fz+%26%231\n\n"},
		{`takes: { s: text, n: 0..9 }, request: PUT /a, json: { name: "{s}", deep: [1, true, null, "n={n}", "{n / 2}"], on: "{n > 1}" }`, `send it(s: "a\"b<", n: 3)`,
			"PUT /api/a\nContent-Type: application/json\n\n" + `{"name":"a\"b<","deep":[1,true,null,"n=3",1.5],"on":true}`},
		{`takes: { s: text }, request: PUT /a, form: { take: "{s}", "a b": c&d }`, `send it(s: "x=1&y")`,
			"PUT /api/a\nContent-Type: application/x-www-form-urlencoded\n\ntake=x%3D1%26y&a+b=c%26d"},
		{`takes: { s: text }, request: PUT /a, text: "say {{{s}}}"`, `send it(s: "hm")`,
			"PUT /api/a\nContent-Type: text/plain; charset=utf-8\n\nsay {hm}"},
		{`takes: { s: text }, request: PUT /a, headers: { X-Why: "{s}!", content-type: text/x }, text: y`, `send it(s: "so")`,
			"PUT /api/a\nX-Why: so!\ncontent-type: text/x\n\ny"},
	}
	for _, c := range tests {
		t.Run(c.message, func(t *testing.T) {
			p, found := rendered(t, http, c.message, c.send)
			if len(found) > 0 || len(p.Messages) != 1 {
				t.Fatal(found, p.Messages)
			}
			if got := wire(p.Messages[0].HTTP); got != c.want {
				t.Errorf("\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// wire is a request as text.
func wire(r *program.Request) string {
	text := r.Method + " " + r.Target + "\n"
	for _, h := range r.Header {
		text += h[0] + ": " + h[1] + "\n"
	}
	return text + "\n" + string(r.Body)
}

// TestRefused: values that would change the shape of a message.
func TestRefused(t *testing.T) {
	tests := []struct{ wire, message, send, code, what string }{
		{udp, `takes: { s: text }, osc: "/a/{s}"`, `send it(s: "b/c")`, "refused-message-value", "`b/c` cannot be a part of an OSC address"},
		{udp, `takes: { s: text }, osc: "/a/{s}"`, `send it(s: "")`, "refused-message-value", "`` cannot be a part of an OSC address"},
		{udp, `takes: { s: text }, osc: "/a/{s}"`, `send it(s: "*")`, "refused-message-value", "cannot be a part"},
		{udp, `takes: { s: text }, osc: "/a/{s}"`, `send it(s: "ö")`, "refused-message-value", "cannot be a part"},
		{udp, `takes: { n: 0..9 }, osc: /a, args: [{ i: n / 2 }]`, "send it(n: 3)", "refused-message-value", "`1.5` is not a whole number"},
		{udp, `takes: { n: 0..9 }, osc: /a, args: [1 / n]`, "send it(n: 0)", "refused-message-value", "has no number"},
		{udp, `takes: { n: 0..9 }, osc: /a, args: [1 % int(n)]`, "send it(n: 0)", "refused-message-value", "cannot be worked out"},
		{udp, `takes: { n: 0..9 }, osc: /a, args: [{ i: 3000000000 * n }]`, "send it(n: 1)", "refused-message-value", "is not from -2147483648 to 2147483647"},
		{udp, `takes: { n: 0..9 }, osc: /a, args: [{ f: 10.0 ** (50 * n) }]`, "send it(n: 1)", "refused-message-value", "too large for an OSC `f`"},
		{udp, `takes: { s: text }, osc: /a, args: [{ c: s }]`, `send it(s: "xy")`, "refused-message-value", "is not one plain character"},
		{http, `takes: { s: text }, request: "PUT /a/{s}/b"`, `send it(s: "..")`, "refused-message-value", "only dots"},
		{http, `takes: { s: text }, request: "PUT /a/.{s}"`, `send it(s: ".")`, "refused-message-value", "only dots"},
		{http, `takes: { s: text }, request: "PUT /a/{s}"`, `send it(s: "")`, "refused-message-value", "an empty text"},
		{http, `takes: { s: text }, request: PUT /a, headers: { X: "{s}" }`, `send it(s: "a\nHost: b")`, "refused-message-value", "a line end"},
		{http, `takes: { s: text }, request: PUT /a, text: "{s}{s}{s}"`, `send it(s: "` + strings.Repeat("long ", 600) + `")`, "oversized-message", "more than 8000 bytes"},
	}
	for _, c := range tests {
		t.Run(c.message+" "+c.send[:min(30, len(c.send))], func(t *testing.T) {
			p, found := rendered(t, c.wire, c.message, c.send)
			if len(found) != 1 || string(found[0].Code) != c.code || !strings.Contains(found[0].What, c.what) || len(p.Messages) > 0 {
				t.Errorf("got %v %v, want %s: %s", found, p.Messages, c.code, c.what)
			}
			if len(found) > 0 && !strings.Contains(found[0].What, "(when the show says `send it") {
				t.Errorf("it does not say which command: %s", found[0].What)
			}
		})
	}
}

// TestMistakesStandWhereTheyAre: the text under each finding's span, for
// mistakes of templates.
func TestMistakesStandWhereTheyAre(t *testing.T) {
	tests := []struct{ message, code, text, mend string }{
		{`takes: { level: 0..9 }, osc: /a, args: [1 + levle]`, "unknown-message-value", "levle", "write `level`"},
		{`takes: { level: 0..9 }, osc: /a, args: ["'ö' + levle"]`, "unknown-message-value", "levle", "write `level`"},
		{`takes: { level: 0..9 }, osc: /a, args: [bank.number]`, "unknown-message-value", "bank.number", "use `level`"},
		{`osc: /a, args: [levle]`, "unknown-message-value", "levle", "leave it out: this message has no values"},
		{`takes: { level: 0..9 }, osc: "/a/{level + }"`, "unreadable-message", "level + ", ""},
		{`takes: { level: 0..9 }, osc: "/a/{rond(level)}"`, "unreadable-message", "rond(level", "write `round`"},
		{`takes: { level: 0..9 }, osc: "/a/{repeat(level)}"`, "unreadable-message", "repeat(level", "use `abs`"},
		{`takes: { level: 0..9 }, osc: "/a/{let x = 1; x}"`, "unreadable-message", "let x = 1; x", ""},
		{`takes: { level: 0..9 }, osc: "/a/{level ?? 1}"`, "unreadable-message", "level ?? 1", ""},
		{`takes: { level: 0..9 }, osc: "/a/{1 in [1]}"`, "unreadable-message", "1 in [1", ""},
		{`takes: { level: 0..9 }, osc: "/a/{min()}"`, "mismatched-message-value", "min", ""},
		{`takes: { s: text }, osc: "/a/{s * 2}"`, "mismatched-message-value", "s", ""},
		{`takes: { s: text }, osc: "/a/{not s}"`, "mismatched-message-value", "s", ""},
		{`takes: { s: text }, osc: "/a/{s == 2}"`, "mismatched-message-value", "s == 2", ""},
		{`takes: { s: text }, osc: "/a/{s > 'a' ? 1 : 'b'}"`, "mismatched-message-value", "", "one side"},
		{`takes: { s: text }, osc: /a, args: [{ i: s }]`, "mismatched-message-value", "s", ""},
	}
	for _, c := range tests {
		t.Run(c.message, func(t *testing.T) {
			text := fmt.Sprintf(hall, udp, c.message)
			rack, found := plan.Read(source.New("rack.yaml", []byte(text)))
			if found.Blocking() {
				t.Fatal(found)
			}
			found = render.Templates(rack)
			if len(found) == 0 || string(found[0].Code) != c.code {
				t.Fatalf("got %v, want %s", found, c.code)
			}
			if got := found[0].At.Text(); c.text != "" && !strings.HasPrefix(got, c.text) && !strings.Contains(c.text, got) {
				t.Errorf("it stands at %q, want %q", got, c.text)
			}
			said := found[0].What
			for _, m := range found[0].Mends {
				said += "; " + m.Do
			}
			if !strings.Contains(said, c.mend) {
				t.Errorf("said %q, want %q", said, c.mend)
			}
		})
	}
}

// TestSmallShow: the whole small show has its messages, the same ones twice, and
// what its devices report has its meaning.
func TestSmallShow(t *testing.T) {
	p, found := show(t, read(t, "rack.yaml"), read(t, "small.show"))
	if len(found) > 0 {
		t.Fatal(found)
	}
	again, _ := show(t, read(t, "rack.yaml"), read(t, "small.show"))
	if !bytes.Equal(program.Encode(p), program.Encode(again)) {
		t.Error("twice is not the same")
	}
	back, err := program.Decode(program.Encode(p))
	if err != nil || !slices.EqualFunc(back.Messages, p.Messages, func(a, b program.Message) bool { return fmt.Sprint(a.Text, a.OSC) == fmt.Sprint(b.Text, b.OSC) }) {
		t.Error("the program does not come back as it was", err)
	}
	if !slices.IsSortedFunc(p.Messages, func(a, b program.Message) int { return int(a.Device) - int(b.Device) }) {
		t.Error("messages are not in the order of the devices")
	}
	index := p.MessageIndex()
	for _, a := range p.Actions {
		switch a.Verb {
		case program.Route, program.RouteTie, program.Protect:
			continue
		}
		if _, ok := index[program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}]; !ok {
			t.Errorf("no message for %+v", a)
		}
	}
	var got []string
	for _, o := range p.Observations {
		line := p.Vars[o.Var].Name + " <-"
		for _, m := range o.Means {
			line += fmt.Sprintf(" %s=%d", m.Heard, m.Value)
		}
		got = append(got, line)
	}
	want := []string{
		"deck.state <- idle=0 loading=1 ready=2 run=3 hold=4 done=5",
		"main.program <- 1=0 2=1 3=2 4=3 5=4 6=5 100=6 102=7 2=8",
		"effects.program <- 1=0 2=1 3=2 4=3 5=4 6=5 100=6",
		"iso.state <- 0=0 1=2",
	}
	if !slices.Equal(got, want) {
		t.Errorf("observations\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// TestAnyTextInAnyPlace: whatever a text holds, the request that comes of it
// has the shape of its template: the same segments of the path, the same
// fields of the query, the form and the JSON.
func TestAnyTextInAnyPlace(t *testing.T) {
	const message = `takes: { s: text }, request: "PUT /clip/{s}/load?a={s}&b=1", headers: { X: "{s}" }, json: { a: "{s}", b: "<{s}>" }`
	rapid.Check(t, func(r *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune("ab./?&#%=+ \"'{}\\\n\t:;ö場😀")), 0, 12, -1).Draw(r, "text")
		quoted := strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(text)
		p, found := rendered(t, http, message, `send it(s: "`+quoted+`")`)
		if len(found) > 0 {
			if text == "" || text == "." || text == ".." || strings.ContainsAny(text, "\n") {
				return
			}
			r.Fatalf("refused %q: %v", text, found)
		}
		q := p.Messages[0].HTTP
		u, err := url.ParseRequestURI(q.Target)
		if err != nil {
			r.Fatal(err)
		}
		parts := strings.Split(u.EscapedPath(), "/")
		if segment, err := url.PathUnescape(parts[3]); len(parts) != 5 || err != nil || segment != text || parts[4] != "load" {
			r.Fatalf("path %q of %q", q.Target, text)
		}
		if v := u.Query(); len(v) != 2 || v.Get("a") != text || v.Get("b") != "1" {
			r.Fatalf("query %q of %q", q.Target, text)
		}
		var body map[string]string
		if err := json.Unmarshal(q.Body, &body); err != nil || len(body) != 2 || body["a"] != text || body["b"] != "<"+text+">" {
			r.Fatalf("body %s of %q", q.Body, text)
		}
		if len(q.Header) != 2 || strings.ContainsAny(q.Header[0][1], "\r\n") {
			r.Fatalf("header %q of %q", q.Header, text)
		}
	})
}

// FuzzTemplate: no text of a template stops the program, and what passes the
// check can be filled or is refused with a code.
func FuzzTemplate(f *testing.F) {
	for _, s := range []string{"level", "{level}", "level > 2 ? 'a' : 'b'", "((((1))))", "1 % 0", "-level ** 2", "{", "}", "'", "a.b.c", "level?.x", "1..2", "#", "let a = 1; a", "if level > 1 { 1 } else { 2 }", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		message := "takes: { level: 0..9 }, osc: /a, args: [" + strconv.Quote(text) + "]"
		rack, found := plan.Read(source.New("rack.yaml", fmt.Appendf(nil, hall, udp, message)))
		if found.Blocking() {
			return
		}
		tree, _ := syntax.Parse(source.New("x.show", []byte("show \"x\" uses \"rack.yaml\"\nrundown { cue 1 \"x\" { send it(level: 3) } }\n")))
		info, found := check.Show(tree, rack)
		if found.Blocking() {
			return
		}
		p := lower.Show(info)
		if found := render.Messages(p, rack); len(found) == 0 && len(p.Messages) != 1 {
			t.Errorf("%q: neither a finding nor a message", text)
		}
	})
}

func BenchmarkMessages(b *testing.B) {
	rackText, showText := read(b, "rack.yaml"), read(b, "small.show")
	rack, _ := plan.Read(source.New("rack.yaml", []byte(rackText)))
	tree, _ := syntax.Parse(source.New("x.show", []byte(showText)))
	info, _ := check.Show(tree, rack)
	for b.Loop() {
		render.Messages(lower.Show(info), rack)
	}
}

func read(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile("../../testdata/shows/small/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
