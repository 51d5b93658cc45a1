package standin

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/targets/httpout"
	"cuewright/targets/observe"
	"cuewright/targets/osc"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience only ends a test that would hang.
const patience = 10 * time.Second

// The devices of the test show, in their order.
const (
	mixer = iota
	router
	iso
	deck
	strip
)

const secret = "operator:not-to-be-seen"

// show is rack with devices, messages and observations. Each verb's message
// has its own path.
func show(t testing.TB) *program.Program {
	p := rack()
	p.Devices = []program.Device{
		{Name: "mixer", Wire: "osc.udp", Address: "10.1.2.3:9201"}, {Name: "router", Wire: "osc.tcp", Address: "10.1.2.4:9202"},
		{Name: "iso", Wire: "osc.slip", Address: "10.1.2.5:9204"}, {Name: "deck", Wire: "http", Address: "10.1.2.6", Login: "DECK_LOGIN"},
		{Name: "strip", Wire: "osc.udp", Address: "10.1.2.3:9201"}, {Name: "cable"},
	}
	message := func(device int32, c program.Command, text, path string, args ...osc.Arg) {
		raw, err := osc.Encode(osc.Message{Path: path, Args: args})
		if err != nil {
			t.Fatal(err)
		}
		p.Messages = append(p.Messages, program.Message{Command: c, Device: device, OSC: raw, Text: text})
	}
	for i := range int32(4) {
		message(mixer, program.Command{Verb: program.CutTo, B: i}, fmt.Sprintf("cut main to pick %d", i), "/bank/1/program", osc.Int32(i+1))
		message(router, program.Command{Verb: program.Crosspoint, B: i}, fmt.Sprintf("aux1 to pick %d", i), "/route", osc.Int32(1), osc.Int32(i+1))
	}
	message(strip, program.Command{Verb: program.SwitchTo, B: 1}, "fan on", "/outlet/2", osc.Bool(true))
	message(iso, program.Command{Verb: program.Record}, "record iso", "/record", osc.String("iso"), osc.Bool(true))
	request := func(c program.Command, text, method, target, body string) {
		p.Messages = append(p.Messages, program.Message{Command: c, Device: deck, Text: text,
			HTTP: &program.Request{Method: method, Target: target, Body: []byte(body), Header: [][2]string{{"Content-Type", "application/json"}}}})
	}
	request(program.Command{Verb: program.Load}, "load opener", "PUT", "/api/clip", `{"name":"opener.mov"}`)
	request(program.Command{Verb: program.Play}, "play deck", "POST", "/api/play", "")
	picks := []program.Meaning{{Heard: "1", Value: 0}, {Heard: "2", Value: 1}, {Heard: "3", Value: 2}, {Heard: "4", Value: 3}}
	p.Observations = []program.Observation{
		{Device: mixer, Path: "/bank/1/program", Arg: 0, Var: bankProgram, Means: picks},
		{Device: router, Path: "/routed", Arg: 2, Var: aux, Means: picks},
		{Device: iso, Path: "/rolling", Arg: 0, Var: recorder, Means: []program.Meaning{{Heard: "0", Value: 0}, {Heard: "1", Value: 2}}},
		{Device: strip, Path: "/outlet/2", Arg: 0, Var: outlet, Means: []program.Meaning{{Heard: "false", Value: 0}, {Heard: "true", Value: 1}}},
		{Device: deck, Method: "GET", Target: "/api/state", Pointer: "/transport/now", Var: deckState,
			Means: []program.Meaning{{Heard: "idle", Value: 0}, {Heard: "loading", Value: 1}, {Heard: "ready", Value: 2}, {Heard: "run", Value: 3}}},
		{Device: deck, Method: "GET", Target: "/api/state", Pointer: "/clip", Var: deckClip, Means: []program.Meaning{{Heard: "0", Value: 0}, {Heard: "1", Value: 1}}},
		{Device: deck, Method: "GET", Target: "/api/word", Pointer: "body", Var: deckState, Means: []program.Meaning{{Heard: "idle", Value: 0}}},
		{Device: deck, Method: "GET", Target: "/api/health", Pointer: "status", Var: deckState, Means: []program.Meaning{{Heard: "503", Value: 0}}},
	}
	return p
}

// notes collects what is logged.
type notes struct {
	mu   sync.Mutex
	text strings.Builder
}

func (n *notes) Write(b []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.Write(b)
}

func (n *notes) String() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.String()
}

func begin(t *testing.T, p *program.Program, opts Options) *Rack {
	t.Helper()
	r, err := Start(p, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

// tell sends a message of the show to its stand-in, and gives what comes back.
func tell(t *testing.T, r *Rack, device int32, packet []byte) osc.Message {
	t.Helper()
	d := r.Program().Devices[device]
	back := make(chan osc.Message, 16)
	s, err := osc.NewSender(osc.Config{Wire: d.Wire, Address: d.Address, Heard: func(packet []byte, _ osc.From) {
		if p, err := osc.Decode(packet); err == nil {
			osc.Each(p, func(m osc.Message) { back <- m })
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Send(t.Context(), [][]byte{packet}); err != nil {
		t.Fatal(err)
	}
	select {
	case m := <-back:
		return m
	case <-time.After(patience):
		t.Fatalf("`%s` says nothing", d.Name)
		return osc.Message{}
	}
}

func messageOf(t *testing.T, p *program.Program, text string) program.Message {
	t.Helper()
	i := slices.IndexFunc(p.Messages, func(m program.Message) bool { return m.Text == text })
	if i < 0 {
		t.Fatalf("no message %q", text)
	}
	return p.Messages[i]
}

// What a stand-in answers is heard, by the plan's own observations, as the
// state that the command asked for.
func TestCommandsAreCarriedOutAndSaidBack(t *testing.T) {
	p := show(t)
	r := begin(t, p, Options{})
	for text, want := range map[string]observe.Observed{
		"cut main to pick 2": {Var: bankProgram, Value: 2},
		"aux1 to pick 3":     {Var: aux, Value: 3},
		"fan on":             {Var: outlet, Value: 1},
		"record iso":         {Var: recorder, Value: program.MachineRunning}, // said when it rolls
	} {
		m := messageOf(t, p, text)
		said := tell(t, r, m.Device, m.OSC)
		v, value, ok := observe.New(p, m.Device).OSC(said)
		if !ok || (observe.Observed{Var: v, Value: value}) != want {
			t.Errorf("%s: it says %v, which means %d = %d, %v", text, said, v, value, ok)
		}
		if got := r.Values()[want.Var]; got != want.Value {
			t.Errorf("%s: the stand-in has %d", text, got)
		}
	}
}

func TestSalvoInABundleIsCarriedOut(t *testing.T) {
	p := show(t)
	r := begin(t, p, Options{})
	a, b := messageOf(t, p, "cut main to pick 1"), messageOf(t, p, "cut main to pick 3")
	packet, err := osc.AppendBundle(nil, osc.Immediately, a.OSC, b.OSC)
	if err != nil {
		t.Fatal(err)
	}
	tell(t, r, mixer, packet)
	if got := r.Values()[bankProgram]; got != 3 {
		t.Errorf("program is %d", got)
	}
}

func client(t *testing.T, r *Rack, login string) *httpout.Client {
	t.Helper()
	d := r.Program().Devices[deck]
	if login == "" {
		d.Login = ""
	}
	c, err := httpout.New(d, func(string) string { return login })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

func TestHTTPDevice(t *testing.T) {
	p := show(t)
	r := begin(t, p, Options{})
	c := client(t, r, secret)
	ask := func(target string) []observe.Observed {
		a, err := c.Send(t.Context(), &program.Request{Method: "GET", Target: target})
		if a.Status == 0 {
			t.Fatal(err)
		}
		return observe.New(p, deck).HTTP("GET", target, a.Status, a.Body)
	}
	if got := ask("/api/state"); !slices.Equal(got, []observe.Observed{{Var: deckState, Value: 0}, {Var: deckClip, Value: 0}}) {
		t.Errorf("at first: %v", got)
	}
	if got := ask("/api/word"); !slices.Equal(got, []observe.Observed{{Var: deckState, Value: 0}}) {
		t.Errorf("as a body: %v", got)
	}
	if got := ask("/api/health"); !slices.Equal(got, []observe.Observed{{Var: deckState, Value: 0}}) {
		t.Errorf("as a status: %v", got)
	}
	a, err := c.Send(t.Context(), messageOf(t, p, "load opener").HTTP)
	if err != nil || string(a.Body) != `{"ok":true}` {
		t.Fatalf("%v, %v", a, err)
	}
	for end := time.Now().Add(patience); ; {
		got := ask("/api/state")
		if slices.Equal(got, []observe.Observed{{Var: deckState, Value: program.DeckCued}, {Var: deckClip, Value: 1}}) {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("the deck does not cue: %v", got)
		}
	}
	if a, err := c.Send(t.Context(), &program.Request{Method: "POST", Target: "/api/nothing"}); a.Status != 404 {
		t.Errorf("what the plan does not know: %v, %v", a, err)
	}
	if a, err := client(t, r, "").Send(t.Context(), &program.Request{Method: "POST", Target: "/api/play"}); a.Status != 401 {
		t.Errorf("without a login: %v, %v", a, err)
	}
}

func TestLog(t *testing.T) {
	p := show(t)
	var lines, asJSON notes
	r := begin(t, p, Options{Lines: &lines, JSON: &asJSON, Hex: true})
	c := client(t, r, secret)
	if _, err := c.Send(t.Context(), messageOf(t, p, "load opener").HTTP); err != nil {
		t.Fatal(err)
	}
	tell(t, r, mixer, messageOf(t, p, "cut main to pick 2").OSC)
	conn, err := net.Dial("udp", strings.TrimPrefix(r.Stands[mixer].URL, "osc.udp://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for _, odd := range []string{"/[", "/\x1b[2J\x00\x00\x00,\x00\x00\x00"} {
		if _, err := conn.Write([]byte(odd)); err != nil {
			t.Fatal(err)
		}
	}
	tell(t, r, mixer, messageOf(t, p, "cut main to pick 1").OSC)
	text := lines.String()
	for _, want := range []string{
		` /api/clip {"name":"opener.mov"} with a login -> 200  = load deck with "opener"`,
		"  /bank/1/program 3  = cut main to pick 2",
		"mixer tells 127.0.0.1:",
		"what cannot be read: at byte 0: the size is not a multiple of four",
		`"/\x1b[2J"`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text+asJSON.String(), "not-to-be-seen") || strings.Contains(text+asJSON.String(), "b3BlcmF0b3I6") { // base64 of operator:
		t.Errorf("the login is in the log:\n%s%s", text, asJSON.String())
	}
	seen := map[string]bool{}
	for l := bufio.NewScanner(strings.NewReader(asJSON.String())); l.Scan(); {
		var e entry
		if err := json.Unmarshal(l.Bytes(), &e); err != nil {
			t.Fatalf("%s: %v", l.Text(), err)
		}
		if _, err := time.Parse(time.RFC3339, e.Time); err != nil {
			t.Error(err)
		}
		e.Time, e.From, e.To = "", "", ""
		b, _ := json.Marshal(e)
		seen[string(b)] = true
	}
	for _, want := range []string{
		`{"time":"","device":"mixer","wire":"osc.udp","osc":"/bank/1/program","args":["3"],"tags":"i","means":"cut main to pick 2","hex":"2f62616e6b2f312f70726f6772616d002c69000000000003"}`,
		`{"time":"","device":"deck","wire":"http","method":"PUT","target":"/api/clip","body":"{\"name\":\"opener.mov\"}","credential":"login","status":200,"means":"load deck with \"opener\"","hex":"7b226e616d65223a226f70656e65722e6d6f76227d"}`,
		`{"time":"","device":"mixer","wire":"osc.udp","fault":"at byte 0: the size is not a multiple of four","hex":"2f5b"}`,
	} {
		if !seen[want] {
			t.Errorf("there is no %s in\n%s", want, asJSON.String())
		}
	}
}

func TestAddresses(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	taken := l.Addr().String()
	_ = l.Close()
	p := show(t)
	p.Devices[router].Address = taken
	r := begin(t, p, Options{})
	if got := r.Stands[router]; got != (Stand{router, "router", "osc.tcp://" + taken}) {
		t.Errorf("an address on loopback is not used: %v", got)
	}
	if r.Stands[mixer].URL != r.Stands[strip].URL || !strings.HasPrefix(r.Stands[mixer].URL, "osc.udp://127.0.0.1:") {
		t.Errorf("two devices of one address: %v", r.Stands)
	}
	if len(r.Stands) != 5 || p.Devices[mixer].Address != "10.1.2.3:9201" {
		t.Errorf("%v, and the show was changed: %v", r.Stands, p.Devices)
	}
	// A second rack cannot have the same address, unless any port will do.
	if again, err := Start(p, Options{}); err == nil || !strings.Contains(err.Error(), "there can be no stand-in of `router` at osc.tcp://"+taken) {
		t.Errorf("%v, %v", again, err)
	}
	begin(t, p, Options{AnyPort: true})
	p.Devices[router].Wire = "pigeon"
	if _, err := Start(p, Options{AnyPort: true}); err == nil {
		t.Error("a wire that is none is taken")
	}
}

func TestOwnAddress(t *testing.T) {
	for _, c := range [][3]string{
		{"osc.udp", "127.0.0.1:9201", "127.0.0.1:9201"}, {"osc.udp", "127.8.8.8:1", "127.8.8.8:1"}, {"osc.udp", "localhost:1", "localhost:1"},
		{"osc.udp", "[::1]:1", "[::1]:1"}, {"http", "127.0.0.1", "127.0.0.1:80"}, {"https", "localhost", "localhost:443"},
		{"osc.udp", "192.168.1.4:1", ""}, {"osc.udp", "mixer.local:1", ""}, {"http", "0.0.0.0:1", ""}, {"http", "127.0.0.1.example:1", ""},
	} {
		if got := ownAddress(&program.Device{Wire: c[0], Address: c[1]}); got != c[2] {
			t.Errorf("%s %s: got %q, want %q", c[0], c[1], got, c[2])
		}
	}
}

// Closing while messages come in leaves nothing behind and loses no goroutine.
func TestCloseUnderLoad(t *testing.T) {
	p := show(t)
	r, err := Start(p, Options{Lines: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	now := r.Program()
	var busy sync.WaitGroup
	ctx, stop := context.WithCancel(t.Context())
	for _, m := range p.Messages {
		d := now.Devices[m.Device]
		if m.OSC == nil {
			continue
		}
		s, err := osc.NewSender(osc.Config{Wire: d.Wire, Address: d.Address})
		if err != nil {
			t.Fatal(err)
		}
		busy.Go(func() {
			defer s.Close()
			for ctx.Err() == nil {
				_ = s.Send(ctx, [][]byte{m.OSC}) // it is being closed: refusals are right
			}
		})
	}
	for range 100 {
		r.Values()
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	stop()
	busy.Wait()
	if r.Values() != nil {
		t.Error("a closed rack still has values")
	}
}

func TestLongBodyIsRefused(t *testing.T) {
	r := begin(t, show(t), Options{})
	resp, err := http.Post(r.Stands[deck].URL+"/api/play", "text/plain", strings.NewReader(strings.Repeat("x", maxBody+1)))
	if err != nil {
		t.Fatal(err)
	}
	_ = resp.Body.Close()
	http.DefaultClient.CloseIdleConnections()
	if resp.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("got %d", resp.StatusCode)
	}
}

func TestOnlySoManyPeersAreAnswered(t *testing.T) {
	p := show(t)
	r := begin(t, p, Options{})
	for range maxPeers + 5 {
		tell(t, r, mixer, messageOf(t, p, "cut main to pick 1").OSC)
	}
	r.do(func() {
		for _, at := range r.posts {
			if len(at.peers) > maxPeers {
				t.Errorf("%d peers", len(at.peers))
			}
		}
	})
}

// The argument made for a text is heard as that text again.
func TestArgumentIsHeardAsItsText(t *testing.T) {
	for text, tag := range map[string]byte{"3": 'i', "-1": 'i', "5000000000": 'h', "0.5": 'f', "0.1": 'f', "0.123456789012": 'd',
		"true": 'T', "false": 'F', "null": 'N', "idle": 's', "": 's', "007": 's', "1e3": 's', "NaN": 'f'} {
		if a := argument(text); a.Tag != tag {
			t.Errorf("%q is sent as %c", text, a.Tag)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`-?[0-9]{1,20}(\.[0-9]{1,20})?(e[0-9]{1,3})?`)).Draw(t, "text")
		if got, ok := observe.ArgText(argument(text)); !ok || got != text {
			t.Fatalf("%q is heard as %q", text, got)
		}
	})
}
