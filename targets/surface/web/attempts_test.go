package web

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"cuewright/targets/surface/surfacetest"
)

// What somebody without the token tries, and what a page of another server
// makes a browser with the token try. None may press, read or cost memory.

// raw sends bytes as they are, and gives the status of the answer, 0 when the
// connection was closed without one.
func raw(t *testing.T, s *Surface, text string) int {
	t.Helper()
	c, err := net.Dial("tcp", s.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	_, _ = io.WriteString(c, text)
	answer, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return 0
	}
	_ = answer.Body.Close()
	return answer.StatusCode
}

// TestWithoutToken: every request that shows or does anything is refused, in
// each way of not having the token.
func TestWithoutToken(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Token: secret})
	heads := map[string][]string{
		"nothing":            nil,
		"empty bearer":       {"Authorization", "Bearer "},
		"token as login":     {"Authorization", "Basic " + secret},
		"token in lowercase": {"Authorization", "bearer " + secret},
		"empty ticket":       {"Cookie", cookieName + "="},
		"made-up ticket":     {"Cookie", cookieName + "=99999999999." + strings.Repeat("0", 64)},
		"token as ticket":    {"Cookie", cookieName + "=" + secret},
	}
	for name, head := range heads {
		t.Run(name, func(t *testing.T) {
			for _, r := range []struct{ method, path, body string }{
				{"GET", "/api/view", ""}, {"GET", "/api/view?token=" + secret, ""}, {"GET", "/api/tablets", ""}, {"GET", "/api/events", ""},
				{"GET", "/api/socket", ""}, {"POST", "/api/press", `{"kind":"go"}`},
			} {
				// 429 once the empty bearer has been tried too often.
				status, text := call(t, s, r.method, r.path, r.body, head...)
				if status != http.StatusUnauthorized && status != http.StatusTooManyRequests {
					t.Errorf("%s %s: %d %s", r.method, r.path, status, text)
				}
				if strings.Contains(text, "cameras") || strings.Contains(text, "Small") {
					t.Errorf("%s %s shows the show: %s", r.method, r.path, text)
				}
			}
		})
	}
	if _, answer, err := websocket.Dial(t.Context(), "ws://"+s.Addr().String()+"/api/socket", nil); err == nil || answer.StatusCode/100 != 4 {
		t.Errorf("a socket was opened: %v", err)
	}
	if len(d.Pressed()) != 0 || d.Watchers() != 0 {
		t.Errorf("pressed %v, %d watch", d.Pressed(), d.Watchers())
	}
	if n := len(s.clients.list()); n != 0 {
		t.Errorf("%d are remembered", n)
	}
}

// TestShellShowsNothing: what everybody may load holds nothing of the show.
func TestShellShowsNothing(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	for path := range shell {
		status, text := call(t, s, "GET", strings.TrimSuffix(path, "{$}"), "")
		if status != http.StatusOK || text == "" {
			t.Errorf("%s: %d", path, status)
		}
		for _, word := range []string{"Small show", "cameras", secret} {
			if strings.Contains(text, word) {
				t.Errorf("%s holds %q", path, word)
			}
		}
	}
	for _, path := range []string{"/page/", "/page.html", "/page", "/%2e%2e/web.go", "/page.js/"} {
		if status, _ := call(t, s, "GET", path, ""); status != http.StatusNotFound {
			t.Errorf("%s: %d", path, status)
		}
	}
}

// TestPairing: the token gives a ticket that is let in; the ticket cannot be
// read by scripts or sent along from another site.
func TestPairing(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	answer, err := http.Post("http://"+s.Addr().String()+"/pair", "application/json", strings.NewReader(`{"code":"`+secret+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusNoContent || len(answer.Cookies()) != 1 {
		t.Fatalf("%s", answer.Status)
	}
	c := answer.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || strings.Contains(c.Value, secret) {
		t.Errorf("the ticket is %+v", c)
	}
	if status, _ := call(t, s, "GET", "/api/view", "", "Cookie", c.Name+"="+c.Value); status != http.StatusOK {
		t.Errorf("the ticket: %d", status)
	}
	if status, _ := call(t, s, "GET", "/api/view", "", "Authorization", "Bearer "+secret); status != http.StatusOK {
		t.Errorf("the token: %d", status)
	}
}

// TestGuessing: after triesEach wrong ones an address is not even compared
// with, be it right; a paired tablet at that address goes on.
func TestGuessing(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	for i := range triesEach {
		if status, _ := call(t, s, "POST", "/pair", fmt.Sprintf(`{"code":"guess %d"}`, i)); status != http.StatusUnauthorized {
			t.Fatalf("guess %d: %d", i, status)
		}
	}
	for _, code := range []string{"guess", secret} {
		if status, _ := call(t, s, "POST", "/pair", `{"code":"`+code+`"}`); status != http.StatusTooManyRequests {
			t.Errorf("%s: %d", code, status)
		}
	}
	if status, _ := call(t, s, "GET", "/api/view", "", "Authorization", "Bearer "+secret); status != http.StatusTooManyRequests {
		t.Errorf("as a bearer: %d", status)
	}
	ticket := s.door.ticket(time.Now().Add(time.Hour))
	if status, _ := call(t, s, "GET", "/api/view", "", "Cookie", cookieName+"="+ticket); status != http.StatusOK {
		t.Errorf("a paired tablet: %d", status)
	}
}

// TestAttempts: one more try comes back with time; many addresses together
// are held back too, and are not remembered without bound.
func TestAttempts(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	var a attempts
	one := netip.MustParseAddr("192.0.2.1")
	for range triesEach {
		if !a.mayTry(one, now) {
			t.Fatal("held back too early")
		}
		a.failed(one, now)
	}
	if a.mayTry(one, now) {
		t.Error("not held back")
	}
	if !a.mayTry(netip.MustParseAddr("192.0.2.2"), now) {
		t.Error("another address is held back")
	}
	if later := now.Add(againEach); !a.mayTry(one, later) {
		t.Error("held back for ever")
	}
	for i := range 5000 {
		a.failed(netip.AddrFrom4([4]byte{10, 0, byte(i >> 8), byte(i)}), now)
	}
	if len(a.each) > maxTracked {
		t.Errorf("%d addresses are remembered", len(a.each))
	}
	if a.mayTry(netip.MustParseAddr("192.0.2.3"), now) {
		t.Error("many together are not held back")
	}
	var b attempts
	for i := range triesEach {
		b.failed(netip.AddrFrom16([16]byte{0x20, 1, 0xd, 0xb8, 15: byte(i)}), now)
	}
	if b.mayTry(netip.MustParseAddr("2001:db8::ffff"), now) {
		t.Error("an IPv6 network counts as many addresses")
	}
}

// TestOtherNames: a browser that was led here by another name (DNS rebinding)
// gets 421 (RFC 9110 15.5.20) for everything, and several or no names 400
// (RFC 9112 3.2).
func TestOtherNames(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	port := fmt.Sprint(s.Addr().Port())
	for _, host := range []string{"evil.example:" + port, "127.0.0.1.evil.example:" + port, "localhost.evil.example", "127.0.0.1:1", "127.0.0.1"} {
		for _, path := range []string{"/", "/health", "/api/view", "/api/events"} {
			if status, _ := call(t, s, "GET", path, "", "Host", host); status != http.StatusMisdirectedRequest {
				t.Errorf("%s called %s: %d", path, host, status)
			}
		}
		if status, _ := call(t, s, "POST", "/api/press", `{"kind":"go"}`, "Host", host); status != http.StatusMisdirectedRequest {
			t.Errorf("press called %s: %d", host, status)
		}
	}
	for text, want := range map[string]int{
		"GET /health HTTP/1.1\r\n\r\n": 400,
		"GET /health HTTP/1.1\r\nHost: 127.0.0.1:" + port + "\r\nHost: evil.example\r\n\r\n": 400,
		"GET /health HTTP/1.1\r\nHost: localhost:" + port + "@evil\r\n\r\n":                  421, // or 400, as net/http thinks
		"GET /health HTTP/1.1\r\nHost:\r\n\r\n":                                              421,
		"GET http://evil.example/health HTTP/1.1\r\nHost: 127.0.0.1:" + port + "\r\n\r\n":    421,
		"GET /health HTTP/1.1\r\nHost: localhost:" + port + "\r\nConnection: close\r\n\r\n":  200,
	} {
		if got := raw(t, s, text); got != want && !(want == 421 && got == 400) {
			t.Errorf("%q: %d, want %d", text, got, want)
		}
	}
	if len(d.Pressed()) != 0 {
		t.Errorf("pressed %v", d.Pressed())
	}
}

// TestOtherOrigins: a page of another server can neither press nor read, even
// in a browser that is paired; nor with what a form can send.
func TestOtherOrigins(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	own := "http://" + s.Addr().String()
	for _, head := range [][]string{
		{"Origin", "http://evil.example"}, {"Origin", "null"}, {"Origin", "https://" + s.Addr().String()}, {"Origin", own + ".evil.example"},
		{"Origin", "http://127.0.0.1"}, {"Origin", ""}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"},
		{"Origin", own, "Sec-Fetch-Site", "cross-site"},
	} {
		for _, r := range []struct{ method, path, body string }{{"POST", "/api/press", `{"kind":"go"}`}, {"GET", "/api/view", ""}, {"GET", "/api/events", ""}, {"POST", "/pair", `{}`}} {
			if status, _ := call(t, s, r.method, r.path, r.body, head...); status != http.StatusForbidden {
				t.Errorf("%s %s with %q: %d", r.method, r.path, head, status)
			}
		}
		h := http.Header{}
		for i := 0; i < len(head); i += 2 {
			h.Set(head[i], head[i+1])
		}
		_, answer, err := websocket.Dial(t.Context(), "ws://"+s.Addr().String()+"/api/socket", &websocket.DialOptions{HTTPHeader: h})
		if err == nil || answer == nil || answer.StatusCode != http.StatusForbidden {
			t.Errorf("a socket with %q: %v", head, err)
		}
	}
	for _, kind := range []string{"text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""} {
		if status, _ := call(t, s, "POST", "/api/press", `{"kind":"go"}`, "Content-Type", kind); status != http.StatusUnsupportedMediaType {
			t.Errorf("a press as %q: %d", kind, status)
		}
	}
	for _, method := range []string{"GET", "HEAD", "PUT", "DELETE", "OPTIONS", "TRACE"} {
		if status, _ := call(t, s, method, "/api/press?kind=go", ""); status != http.StatusMethodNotAllowed {
			t.Errorf("%s /api/press: %d", method, status)
		}
	}
	if len(d.Pressed()) != 0 {
		t.Errorf("pressed %v", d.Pressed())
	}
	if status, _ := call(t, s, "POST", "/api/press", `{"kind":"go"}`, "Origin", own, "Sec-Fetch-Site", "same-origin"); status != http.StatusOK {
		t.Errorf("its own page: %d", status)
	}
}

// TestHeads: every answer forbids to be framed, guessed at or kept.
func TestHeads(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	for _, path := range []string{"/", "/health", "/api/view", "/nowhere"} {
		answer, err := http.Get("http://" + s.Addr().String() + path)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store", "X-Frame-Options": "DENY", "Cross-Origin-Resource-Policy": "same-origin"} {
			if got := answer.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q", path, name, got)
			}
		}
		if policy := answer.Header.Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'; script-src 'self';") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: %s", path, policy)
		}
		if answer.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s lets other pages read", path)
		}
	}
}

// TestTooMuch: long heads and bodies are refused before they are held.
func TestTooMuch(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	at := s.Addr().String()
	if got := raw(t, s, "GET /health HTTP/1.1\r\nHost: "+at+"\r\nX: "+strings.Repeat("x", 1<<20)+"\r\n\r\n"); got != http.StatusRequestHeaderFieldsTooLarge && got != 0 {
		t.Errorf("a long head: %d", got)
	}
	for _, path := range []string{"/api/press", "/pair"} {
		if status, _ := call(t, s, "POST", path, `{"kind":"go","id":"`+strings.Repeat("x", maxBody)+`"}`); status != http.StatusBadRequest && status != http.StatusNoContent {
			t.Errorf("a long body to %s: %d", path, status)
		}
		if status, _ := call(t, s, "POST", path, strings.Repeat("[", maxBody-1)); status != http.StatusBadRequest {
			t.Errorf("deep JSON to %s: %d", path, status)
		}
	}
	if len(d.Pressed()) != 0 {
		t.Errorf("pressed %v", d.Pressed())
	}
}

// TestConnections: one address gets maxEach, and makes room by closing.
func TestConnections(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{})
	var open []net.Conn
	defer func() {
		for _, c := range open {
			_ = c.Close()
		}
	}()
	for range maxEach + 20 {
		c, err := net.Dial("tcp", s.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, c)
	}
	last := open[len(open)-1]
	_ = last.SetReadDeadline(time.Now().Add(5 * time.Second))
	if _, err := last.Read(make([]byte, 1)); err != io.EOF && !strings.Contains(fmt.Sprint(err), "reset") {
		t.Errorf("one too many stays open: %v", err)
	}
	for _, c := range open {
		_ = c.Close()
	}
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if raw(t, s, "GET /health HTTP/1.1\r\nHost: "+s.Addr().String()+"\r\nConnection: close\r\n\r\n") == http.StatusOK {
			break
		}
		if time.Now().After(end) {
			t.Fatal("no room was made")
		}
	}
}

// TestMemoryOfStrangers: a hundred thousand requests without the token, from
// strangers of many names, leave nothing behind.
func TestMemoryOfStrangers(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	h := s.server.Handler
	used := func() uint64 {
		runtime.GC()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	strangers := func(n int) {
		for i := range n {
			r, _ := http.NewRequest("GET", fmt.Sprintf("/api/view?who=stranger%d", i), nil)
			r = r.WithContext(contextAt(s))
			r.Host = s.Addr().String()
			r.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:1000", byte(i>>16), byte(i>>8), byte(i))
			r.Header.Set("Authorization", fmt.Sprintf("Bearer guess%d", i))
			h.ServeHTTP(discard{}, r)
		}
	}
	strangers(5000)
	before := used()
	strangers(100_000)
	if after := used(); after > before+256<<10 {
		t.Errorf("%d bytes before, %d after", before, after)
	}
	if n := len(s.clients.list()); n != 0 {
		t.Errorf("%d are remembered", n)
	}
}

// TestKnownAreBounded: even with the token no more than maxClients are kept.
func TestKnownAreBounded(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{})
	refused := 0
	for i := range maxClients + 10 {
		if status, _ := call(t, s, "POST", fmt.Sprintf("/api/press?who=hand%d", i), `{"kind":"fly"}`); status == http.StatusServiceUnavailable {
			refused++
		}
	}
	_, text := call(t, s, "GET", "/api/tablets", "")
	var list []tablet
	if err := json.Unmarshal([]byte(text), &list); err != nil || len(list) != maxClients || refused != 10 {
		t.Errorf("%d are kept, %d were refused: %v", len(list), refused, err)
	}
	s.clients.dropSilent(time.Now().Add(silence + time.Second))
	if n := len(s.clients.list()); n != 0 {
		t.Errorf("%d stay", n)
	}
}
