package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"
	"go.uber.org/goleak"

	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const secret = "rosin-anvil-42"

// serve serves the small show, or what d runs.
func serve(t testing.TB, d surface.Desk, c Config) *Surface {
	t.Helper()
	if c.Address == "" {
		c.Address = "127.0.0.1:0"
	}
	s, err := Listen(d, c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close(); http.DefaultClient.CloseIdleConnections() })
	return s
}

// call makes a request and gives its status and body. head is pairs.
func call(t testing.TB, s *Surface, method, path, body string, head ...string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, "http://"+s.Addr().String()+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(head); i += 2 {
		if head[i] == "Host" {
			r.Host = head[i+1]
		} else {
			r.Header.Set(head[i], head[i+1])
		}
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(text)
}

// TestView: what the page is told of the small show at power-on.
func TestView(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{})
	status, text := call(t, s, "GET", "/api/view", "")
	var v snapshot
	if err := json.Unmarshal([]byte(text), &v); err != nil || status != http.StatusOK {
		t.Fatalf("%d %s: %v", status, text, err)
	}
	if v.Show != "Small show" || v.Standby != (cueWords{"1", "Doors"}) || v.Running != v.OnDisk || v.Held || len(v.Surfaces) != 2 || v.Age > 5000 {
		t.Errorf("got %+v", v)
	}
	desk := v.Surfaces[0]
	if desk.Name != "desk" || desk.Rows != 3 || desk.Columns != 5 || desk.Page != "cameras" || len(desk.Buttons) != 7 {
		t.Errorf("got %+v", desk)
	}
	for i, want := range []button{
		{1, 1, "Wide", desk.Buttons[0].Lamp, "none", 0, false},
		{1, 2, "Goal", desk.Buttons[1].Lamp, "none", 1000, true}, // has a hold
		{1, 3, "Talk", "dark", "none", 0, true},                  // has a release
	} {
		if desk.Buttons[i] != want {
			t.Errorf("got %+v, want %+v", desk.Buttons[i], want)
		}
	}
	if stop := desk.Buttons[6]; stop.Label != "Stop" || stop.Cover != "shut" || stop.Lamp != "lit" {
		t.Errorf("got %+v", stop)
	}
}

// TestPress: each kind of request, and each way to be refused.
func TestPress(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	tests := []struct{ name, body, want string }{
		{"tap", `{"id":"1","kind":"tap","surface":"desk","page":"cameras","row":1,"column":1}`, `{"id":"1","outcome":"done","text":"","opened":false}`},
		{"down", `{"kind":"down","surface":"desk","row":1,"column":3}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"down again", `{"kind":"down","surface":"desk","row":1,"column":3}`, `{"id":"","outcome":"refused","text":"it changed nothing","opened":false}`},
		{"up", `{"kind":"up","surface":"desk","row":1,"column":3}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"up again", `{"kind":"up","surface":"desk","row":1,"column":3}`, `{"id":"","outcome":"repeated","text":"no finger was down here","opened":false}`},
		{"a cover", `{"kind":"tap","surface":"desk","row":3,"column":5}`, `{"id":"","outcome":"refused","text":"it changed nothing","opened":true}`},
		{"go to a cue", `{"kind":"go","cue":"1"}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"stop", `{"kind":"stop"}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"another page", `{"kind":"tap","surface":"desk","page":"crew","row":1,"column":1}`, `{"id":"","outcome":"refused","text":"the page has changed under the finger","opened":false}`},
		{"another show", `{"kind":"tap","running":"x","surface":"desk","row":1,"column":1}`, `{"id":"","outcome":"refused","text":"the show has changed","opened":false}`},
		{"no button", `{"kind":"tap","surface":"desk","row":2,"column":5}`, `{"id":"","outcome":"refused","text":"there is no button at 2.5 now","opened":false}`},
		{"outside", `{"kind":"tap","surface":"desk","row":-1,"column":2147483647}`, `{"id":"","outcome":"refused","text":"there is no button at -1.2147483647 now","opened":false}`},
		{"no surface", `{"kind":"tap","row":1,"column":1}`, `{"id":"","outcome":"refused","text":"no surface was named","opened":false}`},
		{"unknown surface", `{"kind":"tap","surface":"x","row":1,"column":1}`, `{"id":"","outcome":"refused","text":"there is no surface of that name","opened":false}`},
		{"unknown cue", `{"kind":"go","cue":"77"}`, `{"id":"","outcome":"refused","text":"there is no cue of that number","opened":false}`},
		{"unknown destination", `{"kind":"resend","destination":"x"}`, `{"id":"","outcome":"refused","text":"there is no destination or field of that name","opened":false}`},
		{"adopt", `{"kind":"adopt","destination":"web"}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"send a field again", `{"kind":"resend","field":"main.program"}`, `{"id":"","outcome":"done","text":"","opened":false}`},
		{"a field is no destination", `{"kind":"adopt","destination":"main.program"}`, `{"id":"","outcome":"refused","text":"there is no destination or field of that name","opened":false}`},
		{"a destination is no field", `{"kind":"adopt","field":"web"}`, `{"id":"","outcome":"refused","text":"there is no destination or field of that name","opened":false}`},
		{"neither", `{"kind":"adopt"}`, `{"id":"","outcome":"refused","text":"there is no destination or field of that name","opened":false}`},
		{"unknown kind", `{"kind":"fly"}`, `{"id":"","outcome":"refused","text":"not understood","opened":false}`},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			status, text := call(t, s, "POST", "/api/press", c.body)
			if status != http.StatusOK || strings.TrimSpace(text) != c.want {
				t.Errorf("got %d %s, want %s", status, text, c.want)
			}
		})
	}
	if p := d.Pressed()[0]; p.By != "web 127.0.0.1" || p.Kind != surface.Down {
		t.Errorf("pressed %+v", p)
	}
}

// TestMoments: what fires by itself, in JSON, and how it is disarmed.
func TestMoments(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{})
	see := func(press string) (v snapshot) {
		t.Helper()
		if press != "" {
			if _, text := call(t, s, "POST", "/api/press", press); !strings.Contains(text, `"done"`) {
				t.Errorf("%s: %s", press, text)
			}
		}
		_, text := call(t, s, "GET", "/api/view", "")
		if err := json.Unmarshal([]byte(text), &v); err != nil {
			t.Fatal(err)
		}
		return v
	}
	v := see("")
	if c := v.Clock; c == nil || c.momentCue != (momentCue{"3.5", "Extra", "21:15:00"}) || c.Left < 80*60_000 || c.Left > 90*60_000 {
		t.Errorf("by the clock: %+v", c)
	}
	if c := v.Timecode; c == nil || *c != (code{"locked", "01:00:00:05", false, momentCue{"4", "Anthem", "01:02:03:04"}}) {
		t.Errorf("timecode: %+v", c)
	}
	if v := see(`{"kind":"disarm","cue":"3.5"}`); v.Clock != nil || fmt.Sprint(v.Disarmed) != "[3.5]" {
		t.Errorf("one disarmed: %+v", v.moments)
	}
	if v := see(`{"kind":"disarm"}`); v.Timecode.Next != (momentCue{}) || fmt.Sprint(v.Disarmed) != "[3.5 4]" {
		t.Errorf("all disarmed: %+v", v.moments)
	}
	if v := see(`{"kind":"arm"}`); v.Clock == nil || fmt.Sprint(v.Disarmed) != "[]" {
		t.Errorf("armed again: %+v", v.moments)
	}
}

// TestRunningNumber: a POST that is made twice counts once.
func TestRunningNumber(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{})
	for _, want := range []string{"done", "repeated"} {
		if _, text := call(t, s, "POST", "/api/press?who=wing", `{"kind":"go","cue":"1","number":9}`); !strings.Contains(text, want) {
			t.Errorf("got %s, want %s", text, want)
		}
	}
}

// TestReady: a controller that is held is alive and not ready; one that does
// not turn is neither.
func TestReady(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Token: secret})
	if status, text := call(t, s, "GET", "/ready", ""); status != http.StatusOK || text != "ready\n" {
		t.Errorf("got %d %s", status, text)
	}
	d.Stall(true)
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if status, _ := call(t, s, "GET", "/ready", ""); status == http.StatusServiceUnavailable {
			break
		}
		if time.Now().After(end) {
			t.Fatal("a controller that does not turn stays ready")
		}
	}
	if status, text := call(t, s, "GET", "/health", ""); status != http.StatusServiceUnavailable || text != "the controller does not turn\n" {
		t.Errorf("got %d %s", status, text)
	}
	d.Stall(false)
	d.Hold()
	d.Await(t, "it turns again", func(v *surface.View) bool { return v.Held && time.Since(v.At) < freshFor })
	if status, text := call(t, s, "GET", "/health", ""); status != http.StatusOK || text != "alive\n" {
		t.Errorf("got %d %s", status, text)
	}
	if status, text := call(t, s, "GET", "/ready", ""); status != http.StatusServiceUnavailable || text != "held: nobody has resumed the show\n" {
		t.Errorf("got %d %s", status, text)
	}
}

// TestMore: what is added is for who has the token, and can only be got.
func TestMore(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret, More: map[string]http.Handler{
		"/metrics": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "counted") })}})
	if status, text := call(t, s, "GET", "/metrics", ""); status != http.StatusUnauthorized || strings.Contains(text, "counted") {
		t.Errorf("without the token: %d %s", status, text)
	}
	for method, want := range map[string]int{http.MethodGet: http.StatusOK, http.MethodPost: http.StatusMethodNotAllowed} {
		r, err := http.NewRequestWithContext(t.Context(), method, s.URL()+"metrics", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+secret)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != want {
			t.Errorf("%s: %d, want %d", method, answer.StatusCode, want)
		}
	}
	if w := s.Way(); w.Kind != "http" || w.Refused != 1 || w.At != s.Addr().String() {
		t.Errorf("the way in is %+v", w)
	}
}

// dial opens a stream as a Go client.
func dial(t *testing.T, s *Surface, options *websocket.DialOptions) *websocket.Conn {
	t.Helper()
	c, _, err := websocket.Dial(t.Context(), "ws://"+s.Addr().String()+"/api/socket?who=left+hand", options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.CloseNow() })
	c.SetReadLimit(1 << 20)
	return c
}

// next reads messages until one is as wanted.
func next(t *testing.T, c *websocket.Conn, what string, wanted func(message) bool) message {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	for {
		_, text, err := c.Read(ctx)
		if err != nil {
			t.Fatalf("it never came: %s: %v", what, err)
		}
		var m message
		if err := json.Unmarshal(text, &m); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if wanted(m) {
			return m
		}
	}
}

func write(t *testing.T, c *websocket.Conn, text string) {
	t.Helper()
	if err := c.Write(t.Context(), websocket.MessageText, []byte(text)); err != nil {
		t.Fatal(err)
	}
}

// TestSocket: a snapshot at once, then what changes, answers and signs of life.
func TestSocket(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	c := dial(t, s, nil)
	first := next(t, c, "a view", func(message) bool { return true })
	if first.View == nil || first.View.Surfaces[0].Page != "cameras" {
		t.Fatalf("the first message is %+v", first)
	}
	write(t, c, `{"id":"a","kind":"tap","surface":"desk","page":"cameras","row":3,"column":4}`)
	answered, turned := false, false
	next(t, c, "the answer and the page", func(m message) bool {
		answered = answered || m.Answer != nil && *m.Answer == reply{ID: "a", Outcome: "done"}
		turned = turned || m.View != nil && m.View.Surfaces[0].Page == "crew"
		return answered && turned
	})
	next(t, c, "a sign of life", func(m message) bool { return m.Alive != nil && m.Alive.Age < 5000 })
	if p := d.Pressed()[0]; p.By != "web 127.0.0.1 left hand" {
		t.Errorf("pressed by %q", p.By)
	}
	if _, text := call(t, s, "GET", "/api/tablets", ""); !strings.Contains(text, `"who":"web 127.0.0.1 left hand"`) || !strings.Contains(text, `"connected":true`) {
		t.Errorf("the tablets are %s", text)
	}
}

// TestFingerOfWhoIsGone: it comes up, when the stream is cut.
func TestFingerOfWhoIsGone(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	c := dial(t, serve(t, d, Config{}), nil)
	write(t, c, `{"id":"a","kind":"down","surface":"desk","row":1,"column":3}`)
	next(t, c, "the answer", func(m message) bool { return m.Answer != nil })
	_ = c.CloseNow()
	d.Await(t, "the finger is up", func(*surface.View) bool {
		all := d.Pressed()
		return len(all) == 2 && all[1].Kind == surface.Up && all[1].Button == all[0].Button
	})
}

// TestSocketRefuses: what is not JSON, or is too long, ends the stream and
// presses nothing.
func TestSocketRefuses(t *testing.T) {
	for name, text := range map[string]string{"not JSON": "press!", "too long": `{"id":"` + strings.Repeat("x", maxBody) + `"}`, "a list": `[{"kind":"go"}]`} {
		t.Run(name, func(t *testing.T) {
			d := surfacetest.New(t, surfacetest.Show(t))
			c := dial(t, serve(t, d, Config{}), nil)
			write(t, c, text)
			ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
			defer cancel()
			var err error
			for err == nil {
				_, _, err = c.Read(ctx)
			}
			if status := websocket.CloseStatus(err); status != websocket.StatusUnsupportedData && status != websocket.StatusMessageTooBig {
				t.Errorf("closed with %v: %v", status, err)
			}
			if len(d.Pressed()) != 0 {
				t.Error("it pressed")
			}
		})
	}
}

// listen opens a stream of Server-Sent Events, in the form of WHATWG HTML 9.2:
// "data:" lines and a blank line. It gives what reads the next one.
func listen(t *testing.T, s *Surface) (read func() message) {
	t.Helper()
	r, _ := http.NewRequestWithContext(t.Context(), "GET", "http://"+s.Addr().String()+"/api/events", nil)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = answer.Body.Close() })
	if kind := answer.Header.Get("Content-Type"); kind != "text/event-stream" {
		t.Errorf("the type is %s", kind)
	}
	return func() message {
		var one []byte
		for !bytes.HasSuffix(one, []byte("\n\n")) {
			b := make([]byte, 1)
			if _, err := answer.Body.Read(b); err != nil {
				t.Fatal(err)
			}
			one = append(one, b...)
		}
		data, ok := bytes.CutPrefix(one, []byte("data: "))
		var m message
		if err := json.Unmarshal(data, &m); err != nil || !ok || bytes.Count(one, []byte("\n")) != 2 {
			t.Fatalf("%q: %v", one, err)
		}
		return m
	}
}

// TestEvents: the stream as Server-Sent Events.
func TestEvents(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	read := listen(t, s)
	if m := read(); m.View == nil {
		t.Errorf("first %+v", m)
	}
	call(t, s, "POST", "/api/press", `{"kind":"go","cue":"1"}`)
	for m := read(); m.View == nil || m.View.Standby.Number != "2"; m = read() {
	}
}

// TestWhoComesLater: a change is told on every stream that is there, and one
// that opens, or opens again, begins with all as it is by then: label, lamp,
// page, standby, alerts.
func TestWhoComesLater(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	as := func(m message) bool {
		v := m.View
		if v == nil || v.Surfaces[0].Page != "crew" || v.Standby.Number != "" || len(v.Alerts) != 1 || v.Alerts[0].Text != "start again" {
			return false
		}
		b := v.Surfaces[0].Buttons[0]
		return b.Label == "Back" && b.Lamp == "dark"
	}
	socket, events := dial(t, s, nil), listen(t, s)
	for _, read := range []func() message{func() message { return next(t, socket, "a view", func(message) bool { return true }) }, events} {
		if m := read(); m.View == nil || as(m) {
			t.Fatalf("at first %+v", m)
		}
	}
	call(t, s, "POST", "/api/press", `{"kind":"tap","surface":"desk","page":"cameras","row":3,"column":4}`)
	call(t, s, "POST", "/api/press", `{"kind":"go","cue":"3.5"}`)
	next(t, socket, "the change by WebSocket", as)
	for !as(events()) {
	}
	again := dial(t, s, nil)
	if m := next(t, again, "a view", func(message) bool { return true }); !as(m) {
		t.Errorf("a WebSocket that opens begins with %+v", m.View)
	}
	if m := listen(t, s)(); !as(m) {
		t.Errorf("a stream of events that opens begins with %+v", m.View)
	}
}

// TestReload: another show is there at once, and a press meant for the old one
// is refused.
func TestReload(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	c := dial(t, serve(t, d, Config{}), nil)
	old := next(t, c, "a view", func(m message) bool { return m.View != nil }).View.Running
	d.Swap(surfacetest.Load(t, "league/league.show"))
	next(t, c, "the league", func(m message) bool { return m.View != nil && m.View.Surfaces[0].Buttons[0].Label == "Tower" })
	write(t, c, `{"kind":"tap","surface":"desk","row":1,"column":1,"running":"`+old+`"}`)
	if m := next(t, c, "the answer", func(m message) bool { return m.Answer != nil }); m.Answer.Text != "the show has changed" {
		t.Errorf("answered %+v", m.Answer)
	}
	if len(d.Pressed()) != 0 {
		t.Error("it pressed")
	}
}

// TestListenRefuses: beyond this machine without a token, a token that can be
// guessed, half a certificate.
func TestListenRefuses(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	for name, c := range map[string]Config{
		"open to all":       {Address: "0.0.0.0:0"},
		"open to all, IPv6": {Address: "[::]:0"},
		"short token":       {Address: "127.0.0.1:0", Token: "1234567"},
		"certificate alone": {Address: "127.0.0.1:0", CertFile: "cert.pem"},
		"no such file":      {Address: "127.0.0.1:0", CertFile: "no.pem", KeyFile: "no.pem"},
		"no such address":   {Address: "127.0.0.1"},
	} {
		if s, err := Listen(d, c); err == nil {
			t.Errorf("%s: it listens", name)
			_ = s.Close()
		}
	}
}

// records is a log that can be read while it is written.
type records struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (r *records) Write(b []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.text.Write(b)
}

func (r *records) String() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.text.String()
}

// TestNothingSecretIsLogged: neither the token nor a wrong one, nor a ticket.
func TestNothingSecretIsLogged(t *testing.T) {
	var log records
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret, Log: slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	call(t, s, "POST", "/pair", `{"code":"wrong-guess"}`)
	call(t, s, "POST", "/pair", `{"code":"`+secret+`"}`)
	call(t, s, "GET", "/api/view?token="+secret, "", "Authorization", "Bearer "+secret)
	raw, err := net.Dial("tcp", s.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	_, _ = raw.Write([]byte("GET /" + secret + " HTTP/9.9\r\n\r\n"))
	_, _ = io.ReadAll(raw)
	_ = raw.Close()
	text := log.String()
	if !strings.Contains(text, "could not be paired") || !strings.Contains(text, "was paired") {
		t.Errorf("the log says %q", text)
	}
	for _, bad := range []string{secret, "wrong-guess", s.door.sign("", "")} {
		if strings.Contains(text, bad) {
			t.Errorf("the log holds %q: %s", bad, text)
		}
	}
}

// TestTicket: one that was changed, ran out, or is of another token is void.
func TestTicket(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	d := newDoor(secret, nil, false)
	good := d.ticket(now.Add(time.Hour))
	parts := strings.Split(good, ".")
	end, name, sign := parts[0], parts[1], parts[2]
	other := newDoor(secret+"x", nil, false)
	for name, c := range map[string]struct {
		ticket string
		door   *door
		at     time.Time
		want   bool
	}{
		"good":          {good, d, now, true},
		"ran out":       {good, d, now.Add(time.Hour), false},
		"another token": {good, other, now, false},
		"made longer":   {"9" + end + "." + name + "." + sign, d, now, false},
		"of another":    {end + "." + "00000000" + "." + sign, d, now, false},
		"moved dot":     {end + name[:1] + "." + name[1:] + "." + sign, d, now, false},
		"without name":  {end + "." + sign, d, now, false},
		"no signature":  {end, d, now, false},
		"empty":         {"", d, now, false},
		"cut":           {good[:len(good)-1], d, now, false},
	} {
		if got := c.door.paired(c.ticket, c.at); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// TestAnswersTo: the names that a server is called by, after the published
// advice against DNS rebinding (github.com/nccgroup/singularity, wiki,
// "Preventing DNS Rebinding Attacks": localhost and loopback addresses with
// the server's own port, and nothing else).
func TestAnswersTo(t *testing.T) {
	loop, lan := netip.MustParseAddrPort("127.0.0.1:8080"), netip.MustParseAddrPort("192.0.2.7:8080")
	tests := []struct {
		host  string
		local netip.AddrPort
		hosts []string
		want  bool
	}{
		{"127.0.0.1:8080", loop, nil, true},
		{"localhost:8080", loop, nil, true},
		{"LOCALHOST:8080", loop, nil, true},
		{"[::1]:8080", loop, nil, true},
		{"evil.example:8080", loop, nil, false},
		{"127.0.0.1.evil.example:8080", loop, nil, false},
		{"localhost.evil.example", loop, nil, false},
		{"localhost.evil.example:8080", loop, nil, false},
		{"127.0.0.1:8081", loop, nil, false},
		{"127.0.0.1", loop, nil, false},
		{"localhost:8080@evil", loop, nil, false},
		{"", loop, nil, false},
		{":8080", loop, nil, false},
		{"localhost", netip.MustParseAddrPort("127.0.0.1:80"), nil, true},
		{"[::1]", netip.MustParseAddrPort("[::1]:80"), nil, true},
		{"192.0.2.7:8080", lan, nil, true},
		{"192.0.2.8:8080", lan, nil, false},
		{"localhost:8080", lan, nil, false},
		{"127.0.0.1:8080", lan, nil, false},
		{"board.lan:8080", lan, nil, false},
		{"board.lan:8080", lan, []string{"board.lan"}, true},
		{"Board.LAN:8080", lan, []string{"board.lan"}, true},
		{"board.lan:9090", lan, []string{"board.lan"}, false},
		{"board.lan:9090", lan, []string{"board.lan:9090"}, true},
		{"xboard.lan:8080", lan, []string{"board.lan"}, false},
	}
	for _, c := range tests {
		if got := newDoor(secret, c.hosts, false).answersTo(c.host, c.local); got != c.want {
			t.Errorf("called %q at %s: %v, want %v", c.host, c.local, got, c.want)
		}
	}
}

// FuzzRequest: whatever a client sends, nothing panics and what is said back
// is JSON of bounded size.
func FuzzRequest(f *testing.F) {
	d := surfacetest.New(f, surfacetest.Show(f))
	c := &client{hand: surface.Hand{Desk: d, By: "fuzz"}}
	f.Add(`{"kind":"tap","surface":"desk","row":1,"column":1}`)
	f.Add(`{"kind":"down","surface":"side_desk","page":"crew","row":2147483647,"column":-2147483648}`)
	f.Add(`{"kind":"up","surface":"desk","row":1,"column":1,"number":18446744073709551615}`)
	f.Add(`{"kind":"resend","destination":"screens","id":"\ud800"}`)
	f.Fuzz(func(t *testing.T, text string) {
		var q request
		if json.Unmarshal([]byte(text), &q) != nil {
			return
		}
		out, err := json.Marshal(c.do(q))
		if err != nil || len(out) > 1024 {
			t.Errorf("%s, %v", out, err)
		}
		c.hand.Gone()
	})
}

// FuzzHost: a name that is let in is a loopback name or address with our port.
func FuzzHost(f *testing.F) {
	for _, h := range []string{"localhost:8080", "[::1]:8080", "127.0.0.1.evil.example:8080", "[::1%25lo]:8080", "0x7f.1:8080"} {
		f.Add(h)
	}
	local := netip.MustParseAddrPort("127.0.0.1:8080")
	f.Fuzz(func(t *testing.T, host string) {
		if !newDoor("", nil, false).answersTo(host, local) {
			return
		}
		name, port, err := net.SplitHostPort(host)
		if ip, bad := netip.ParseAddr(name); err != nil || port != "8080" || !strings.EqualFold(name, "localhost") && (bad != nil || !ip.IsLoopback()) {
			t.Errorf("%q is let in", host)
		}
	})
}
