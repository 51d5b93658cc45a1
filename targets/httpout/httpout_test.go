package httpout

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/targets/wire"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	user     = "operator"
	password = "s3cr3t-of-the-deck"
	token    = "t0ken-of-the-recorder"
)

func env(name string) string {
	return map[string]string{
		"DECK_LOGIN": user + ":" + password, "REC_TOKEN": token,
		"NO_COLON": password, "TWO_LINES": "a:b\r\nX-Evil: 1", "SPACED": "to ken",
	}[name]
}

func client(t *testing.T, dev program.Device) *Client {
	t.Helper()
	if dev.Name == "" {
		dev.Name = "deck"
	}
	if dev.Wire == "" {
		dev.Wire = "http"
	}
	c, err := New(dev, env)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

// serve starts a server and gives its host:port.
func serve(t *testing.T, h http.HandlerFunc) string {
	t.Helper()
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s.Listener.Addr().String()
}

func get(target string) *program.Request { return &program.Request{Method: "GET", Target: target} }

func TestRequestGoesOutAsRendered(t *testing.T) {
	type seen struct{ method, target, kind, reason, body, auth, host string }
	got := make(chan seen, 1)
	address := serve(t, func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got <- seen{r.Method, r.RequestURI, r.Header.Get("Content-Type"), r.Header.Get("X-Reason"), string(body), r.Header.Get("Authorization"), r.Host}
		fmt.Fprint(w, `{"ok":true}`)
	})
	basic := "Basic " + base64.StdEncoding.EncodeToString([]byte(user+":"+password))
	for _, c := range []struct {
		dev  program.Device
		req  program.Request
		want seen
	}{
		{program.Device{}, program.Request{Method: "POST", Target: "/play"}, seen{"POST", "/play", "", "", "", "", address}},
		{program.Device{Login: "DECK_LOGIN"},
			program.Request{Method: "PUT", Target: "/api/clip", Header: [][2]string{{"Content-Type", "application/json"}}, Body: []byte(`{"name":"opener"}`)},
			seen{"PUT", "/api/clip", "application/json", "", `{"name":"opener"}`, basic, address}},
		{program.Device{Token: "REC_TOKEN"},
			program.Request{Method: "POST", Target: "/record?on=1", Header: [][2]string{{"Content-Type", "application/x-www-form-urlencoded"}, {"X-Reason", "end of show"}}, Body: []byte("take=match")},
			seen{"POST", "/record?on=1", "application/x-www-form-urlencoded", "end of show", "take=match", "Bearer " + token, address}},
		// What is escaped, and how, is for rendering to say.
		{program.Device{}, program.Request{Method: "GET", Target: "/a%2Fb/%C3%BC?x=%20&y=a+b[0]|1"}, seen{"GET", "/a%2Fb/%C3%BC?x=%20&y=a+b[0]|1", "", "", "", "", address}},
	} {
		c.dev.Address = address
		a, err := client(t, c.dev).Send(t.Context(), &c.req)
		if err != nil || a.Status != 200 || string(a.Body) != `{"ok":true}` || a.Cut {
			t.Errorf("%s: %v, %v", c.req.Target, a, err)
		}
		if s := <-got; s != c.want {
			t.Errorf("got  %+v\nwant %+v", s, c.want)
		}
	}
}

func TestTargetsThatLeaveTheDeviceAreRefused(t *testing.T) {
	c := client(t, program.Device{Address: "127.0.0.1:9"})
	for _, target := range []string{"", "play", "//evil.example/x", "http://evil.example/", "/a b", "/a\r\nX: 1", "/ü", "/a#b"} {
		if _, err := c.Send(t.Context(), get(target)); err == nil || wire.CodeOf(err) != "" {
			t.Errorf("%q: %v", target, err)
		}
	}
	for _, r := range []*program.Request{{Method: "GE T", Target: "/"}} {
		if _, err := c.Send(t.Context(), r); err == nil || wire.CodeOf(err) != "" {
			t.Errorf("%v: %v", r, err)
		}
	}
}

func TestHeaderWithLineEndIsNotSent(t *testing.T) {
	address := serve(t, func(_ http.ResponseWriter, r *http.Request) { t.Errorf("it came: %v", r.Header) })
	r := get("/")
	r.Header = [][2]string{{"X-Reason", "a\r\nX-Evil: 1"}}
	if _, err := client(t, program.Device{Address: address}).Send(t.Context(), r); err == nil {
		t.Error("no error")
	}
}

// Statuses by RFC 9110 section 15: class, unknown ones as x00.
func TestStatuses(t *testing.T) {
	for _, c := range []struct {
		status int
		code   diag.Code
		what   string
	}{
		{200, "", ""}, {201, "", ""}, {204, "", ""}, {299, "", ""},
		{301, "device-redirects", "answered 301 Moved Permanently and points to http://elsewhere.example/"},
		{304, "device-redirects", "answered 304 Not Modified"},
		{307, "device-redirects", "answered 307 Temporary Redirect and points to http://elsewhere.example/"},
		{400, "device-said-no", "answered 400 Bad Request: no such clip"},
		{401, "device-said-no", "answered 401 Unauthorized: no such clip"},
		{471, "device-said-no", "answered 471, which counts as 400 Bad Request: no such clip"},
		{503, "device-said-no", "answered 503 Service Unavailable: no such clip"},
		{599, "device-said-no", "answered 599, which counts as 500 Internal Server Error: no such clip"},
		{777, "device-said-no", "answered 777, which counts as 500 Internal Server Error: no such clip"},
	} {
		address := serve(t, func(w http.ResponseWriter, _ *http.Request) {
			if c.status/100 == 3 && c.status != 304 {
				w.Header().Set("Location", "http://elsewhere.example/")
			}
			w.WriteHeader(c.status)
			if c.status != 204 && c.status != 304 {
				fmt.Fprint(w, "\n  no such clip\nsecond line")
			}
		})
		a, err := client(t, program.Device{Address: address}).Send(t.Context(), get("/"))
		var f *wire.Fault
		if c.code == "" {
			if err != nil || a.Status != c.status {
				t.Errorf("%d: %v, %v", c.status, a, err)
			}
			continue
		}
		if !errors.As(err, &f) || f.Code != c.code || f.Status != c.status || f.What != "`deck` at "+address+" "+c.what {
			t.Errorf("%d: %v", c.status, err)
		}
	}
}

func TestRedirectIsNotFollowed(t *testing.T) {
	var elsewhere atomic.Int32
	other := serve(t, func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) })
	address := serve(t, func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "http://"+other+"/", http.StatusTemporaryRedirect)
	})
	c := client(t, program.Device{Address: address, Login: "DECK_LOGIN"})
	for _, method := range []string{"GET", "POST", "PUT"} {
		if _, err := c.Send(t.Context(), &program.Request{Method: method, Target: "/"}); wire.CodeOf(err) != "device-redirects" {
			t.Errorf("%s: %v", method, err)
		}
	}
	if n := elsewhere.Load(); n != 0 {
		t.Errorf("the other machine was asked %d times", n)
	}
}

// A cookie is not kept, a proxy is not asked.
func TestNothingOfTheEnvironmentOrThePastIsSent(t *testing.T) {
	t.Setenv("HTTP_PROXY", "http://127.0.0.1:1")
	t.Setenv("http_proxy", "http://127.0.0.1:1")
	address := serve(t, func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Cookie") != "" || r.Header.Get("Accept-Encoding") != "" {
			t.Errorf("got %v", r.Header)
		}
		http.SetCookie(w, &http.Cookie{Name: "a", Value: "b"})
	})
	c := client(t, program.Device{Address: address})
	for range 2 {
		if _, err := c.Send(t.Context(), get("/")); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCredentialProblems(t *testing.T) {
	for _, c := range []struct {
		dev  program.Device
		code diag.Code
		what string
	}{
		{program.Device{Login: "ABSENT"}, "credential-missing", "the variable `ABSENT` with the login of `deck` is not set"},
		{program.Device{Token: "ABSENT"}, "credential-missing", "the variable `ABSENT` with the token of `deck` is not set"},
		{program.Device{Login: "NO_COLON"}, "credential-unusable", "the variable `NO_COLON` with the login of `deck` is not user:password"},
		{program.Device{Login: "TWO_LINES"}, "credential-unusable", "the variable `TWO_LINES` with the login of `deck` holds a line end or another control character"},
		{program.Device{Token: "SPACED"}, "credential-unusable", "the variable `SPACED` with the token of `deck` holds a space or a character that is not ASCII"},
	} {
		c.dev.Name, c.dev.Wire = "deck", "http"
		_, err := New(c.dev, env)
		if wire.CodeOf(err) != c.code || err.Error() != c.what {
			t.Errorf("got %v, want %s", err, c.what)
		}
		if strings.Contains(fmt.Sprintf("%+v %#v", err, err), password) {
			t.Errorf("the credential is in %v", err)
		}
	}
	if _, err := New(program.Device{Wire: "osc.udp"}, env); err == nil {
		t.Error("an OSC device is taken")
	}
}

// A device that repeats the credential, in any of its forms, does not get it
// into what is shown; nor does printing a Client.
func TestCredentialIsInNoText(t *testing.T) {
	basic := base64.StdEncoding.EncodeToString([]byte(user + ":" + password))
	for _, dev := range []program.Device{{Login: "DECK_LOGIN"}, {Token: "REC_TOKEN"}} {
		var say atomic.Int32
		dev.Address = serve(t, func(w http.ResponseWriter, r *http.Request) {
			auth := r.Header.Get("Authorization")
			switch say.Add(1) {
			case 1:
				fmt.Fprintf(w, "welcome %s, %s:%s", auth, user, password)
			case 2:
				w.WriteHeader(403)
				fmt.Fprintf(w, "who is %s, %s:%s or %s or %s", auth, user, password, token, basic)
			case 3:
				w.Header().Set("Location", "http://elsewhere.example/?"+password+token+auth)
				w.WriteHeader(302)
			default:
				conn, _, _ := http.NewResponseController(w).Hijack()
				fmt.Fprintf(conn, "%s %s %s", auth, password, token)
				_ = conn.Close()
			}
		})
		c := client(t, dev)
		texts := fmt.Sprintf("%v %+v %#v", c, *c, *c)
		a, err := c.Send(t.Context(), get("/"))
		if err != nil || !strings.HasPrefix(a.Line, "welcome ") {
			t.Errorf("%v, %v", a, err)
		}
		texts += a.Line
		for range 3 {
			_, err := c.Send(t.Context(), &program.Request{Method: "POST", Target: "/"})
			if err == nil {
				t.Fatal("no error")
			}
			texts += fmt.Sprintf(" %v %+v", err, err)
		}
		secrets := []string{basic, password}
		if dev.Token != "" {
			secrets = []string{token}
		}
		for _, s := range secrets {
			if strings.Contains(texts, s) {
				t.Errorf("the credential is in: %s", texts)
			}
		}
		if !strings.Contains(texts, "(credential)") {
			t.Errorf("nothing was taken out of: %s", texts)
		}
	}
}

func TestWhatADeviceSaysCannotSteerTheTerminal(t *testing.T) {
	address := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(500)
		fmt.Fprint(w, "a\x1b[2Jb\x00\xff\u202e"+strings.Repeat("x", 1000))
	})
	_, err := client(t, program.Device{Address: address}).Send(t.Context(), get("/"))
	if err == nil || !strings.HasSuffix(err.Error(), ": a[2Jb"+strings.Repeat("x", maxLine-5)+"…") {
		t.Errorf("got %q", err)
	}
}

func TestBodyIsBounded(t *testing.T) {
	address := serve(t, func(w http.ResponseWriter, r *http.Request) {
		size := MaxBody
		if r.RequestURI == "/more" {
			size = 3 * MaxBody
		}
		_, _ = w.Write(make([]byte, size))
	})
	c := client(t, program.Device{Address: address})
	for target, cut := range map[string]bool{"/exact": false, "/more": true} {
		a, err := c.Send(t.Context(), get(target))
		if err != nil || len(a.Body) != MaxBody || a.Cut != cut {
			t.Errorf("%s: %d bytes, cut %v, %v", target, len(a.Body), a.Cut, err)
		}
	}
}

func TestConnectionIsKept(t *testing.T) {
	var connections atomic.Int32
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "ok") }))
	s.Config.ConnState = func(_ net.Conn, state http.ConnState) {
		if state == http.StateNew {
			connections.Add(1)
		}
	}
	s.Start()
	defer s.Close()
	c := client(t, program.Device{Address: s.Listener.Addr().String()})
	for range 20 {
		if _, err := c.Send(t.Context(), &program.Request{Method: "POST", Target: "/", Body: []byte("x")}); err != nil {
			t.Fatal(err)
		}
	}
	if n := connections.Load(); n != 1 {
		t.Errorf("%d connections for 20 requests", n)
	}
}

// RFC 9110 section 9.2.2: only idempotent requests are sent again, and once.
func TestRetries(t *testing.T) {
	for method, want := range map[string]int32{"GET": 2, "HEAD": 2, "PUT": 2, "DELETE": 2, "OPTIONS": 2, "POST": 1, "PATCH": 1} {
		var tries atomic.Int32
		address := serve(t, func(w http.ResponseWriter, _ *http.Request) {
			tries.Add(1)
			conn, _, _ := http.NewResponseController(w).Hijack()
			_ = conn.Close()
		})
		_, err := client(t, program.Device{Address: address}).Send(t.Context(), &program.Request{Method: method, Target: "/"})
		if n := tries.Load(); n != want || wire.CodeOf(err) != "device-hung-up" {
			t.Errorf("%s was tried %d times: %v", method, n, err)
		}
	}
}

// However many connections are kept: each is as dead as the first.
func TestRetriesOverKeptConnections(t *testing.T) {
	const kept = 6
	for method, want := range map[string]int32{"GET": 2, "HEAD": 2, "PUT": 2, "POST": 1} {
		var tries atomic.Int32
		var dead atomic.Bool
		var together sync.WaitGroup
		together.Add(kept)
		address := serve(t, func(w http.ResponseWriter, _ *http.Request) {
			if !dead.Load() {
				together.Done()
				together.Wait() // so that none takes the connection of another
				return
			}
			tries.Add(1)
			conn, _, _ := http.NewResponseController(w).Hijack()
			_ = conn.Close()
		})
		c := client(t, program.Device{Address: address})
		var all sync.WaitGroup
		for range kept {
			all.Go(func() { _, _ = c.Send(t.Context(), get("/")) })
		}
		all.Wait()
		dead.Store(true)
		_, err := c.Send(t.Context(), &program.Request{Method: method, Target: "/"})
		if n := tries.Load(); n != want || wire.CodeOf(err) != "device-hung-up" {
			t.Errorf("%s was tried %d times: %v", method, n, err)
		}
	}
}

// A safe request without a body says nothing about one.
func TestNoBodyIsAnnounced(t *testing.T) {
	address := serve(t, func(_ http.ResponseWriter, r *http.Request) {
		if len(r.TransferEncoding) > 0 || r.Header.Get("Content-Length") != "" {
			t.Errorf("%s has %v, %v", r.Method, r.TransferEncoding, r.Header)
		}
	})
	for _, method := range []string{"GET", "HEAD", "OPTIONS"} {
		if _, err := client(t, program.Device{Address: address}).Send(t.Context(), &program.Request{Method: method, Target: "/"}); err != nil {
			t.Error(err)
		}
	}
}

func TestRetryThatWorks(t *testing.T) {
	var tries atomic.Int32
	address := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		if tries.Add(1) == 1 {
			conn, _, _ := http.NewResponseController(w).Hijack()
			_ = conn.Close()
		}
	})
	if a, err := client(t, program.Device{Address: address}).Send(t.Context(), get("/")); err != nil || a.Status != 200 {
		t.Errorf("%v, %v", a, err)
	}
}

// An error of the device is an answer: it is not asked again.
func TestAnswersAreNotRetried(t *testing.T) {
	var tries atomic.Int32
	address := serve(t, func(w http.ResponseWriter, _ *http.Request) { tries.Add(1); w.WriteHeader(503) })
	_, err := client(t, program.Device{Address: address}).Send(t.Context(), get("/"))
	if n := tries.Load(); n != 1 || wire.CodeOf(err) != "device-said-no" {
		t.Errorf("tried %d times: %v", n, err)
	}
}

func TestDeadlineCoversTheBody(t *testing.T) {
	release := make(chan struct{})
	for name, h := range map[string]http.HandlerFunc{
		"no answer": func(_ http.ResponseWriter, r *http.Request) { <-release },
		"half a body": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "10")
			fmt.Fprint(w, "half")
			_ = http.NewResponseController(w).Flush()
			<-release
		},
	} {
		address := serve(t, h)
		_, err := client(t, program.Device{Address: address, Deadline: 50_000}).Send(t.Context(), get("/"))
		if wire.CodeOf(err) != "device-no-answer" || err.Error() != "`deck` at "+address+" did not answer in time" {
			t.Errorf("%s: %v", name, err)
		}
	}
	close(release)
}

func TestCancelIsNotTheDevicesFault(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	release := make(chan struct{})
	address := serve(t, func(http.ResponseWriter, *http.Request) { cancel(); <-release })
	_, err := client(t, program.Device{Address: address, Deadline: 10_000_000}).Send(ctx, get("/"))
	if !errors.Is(err, context.Canceled) || wire.CodeOf(err) != "" {
		t.Errorf("got %v", err)
	}
	close(release)
}

// raw answers every connection with text.
func raw(t *testing.T, text string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			_ = conn.SetReadDeadline(time.Now().Add(time.Second))
			_, _ = conn.Read(make([]byte, 4096))
			_, _ = io.WriteString(conn, text)
			_ = conn.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return l.Addr().String()
}

func TestWhatIsNotHTTP(t *testing.T) {
	for text, code := range map[string]diag.Code{
		"SSH-2.0-x\r\n":          "device-answer-garbled",
		"HTTP/1.1 abc\r\n\r\n":   "device-answer-garbled",
		"HTTP/1.1 200 OK\r\nX: ": "device-hung-up",
		"":                       "device-hung-up",
		"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nhalf":  "device-hung-up",
		"HTTP/1.1 200 OK\r\nContent-Length: -9\r\n\r\nhalf": "device-answer-garbled",
		"HTTP/1.0 200 OK\r\n\r\nold":                        "",
	} {
		_, err := client(t, program.Device{Address: raw(t, text)}).Send(t.Context(), &program.Request{Method: "POST", Target: "/"})
		if wire.CodeOf(err) != code || (code == "") != (err == nil) {
			t.Errorf("%q: %v (%v)", text, err, wire.CodeOf(err))
		}
	}
}

func TestRefusedUnreachableUntrusted(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed := l.Addr().String()
	_ = l.Close()
	tls := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("it was asked") }))
	tls.Config.ErrorLog = log.New(io.Discard, "", 0) // a client that does not trust it is what is wanted
	tls.StartTLS()
	defer tls.Close()
	plain := serve(t, func(http.ResponseWriter, *http.Request) { t.Error("it was asked") })
	for _, c := range []struct {
		wire, address string
		code          diag.Code
	}{
		{"http", closed, "device-refused"},
		{"https", closed, "device-refused"},
		{"https", tls.Listener.Addr().String(), "device-not-trusted"},
		{"https", plain, "device-answer-garbled"},
		{"http", "deck.invalid", "device-unreachable"}, // RFC 6761: never a name
	} {
		_, err := client(t, program.Device{Wire: c.wire, Address: c.address}).Send(t.Context(), get("/"))
		if wire.CodeOf(err) != c.code && !(c.code == "device-unreachable" && wire.CodeOf(err) == "device-no-answer") {
			t.Errorf("%s://%s: %v (%s)", c.wire, c.address, err, wire.CodeOf(err))
		}
	}
}

func TestEveryCodeHasARow(t *testing.T) {
	for _, code := range []diag.Code{"device-no-answer", "device-refused", "device-unreachable", "device-hung-up", "device-said-no",
		"device-redirects", "device-answer-garbled", "device-not-trusted", "credential-missing", "credential-unusable", "oversized-message"} {
		if !diag.Known(code) {
			t.Errorf("no row for %s", code)
		}
	}
}

func BenchmarkSend(b *testing.B) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "ok") }))
	defer s.Close()
	c, err := New(program.Device{Name: "deck", Wire: "http", Address: s.Listener.Addr().String()}, env)
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	r := &program.Request{Method: "POST", Target: "/play"}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Send(b.Context(), r); err != nil {
			b.Fatal(err)
		}
	}
}
