package httpout

import (
	"crypto/tls"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/targets/wire"
)

// TestFind runs the cases of testdata/find that are about a device: `device`
// is its answer as it comes over the wire, or how it behaves in a few words;
// `login` names a variable, `environment` holds it; `request` is what is sent
// and the code that is wanted.
func TestFind(t *testing.T) {
	cases, err := filepath.Glob("../../testdata/find/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, path := range cases {
		archive, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		files := map[string]string{}
		for _, f := range archive.Files {
			files[f.Name] = string(f.Data)
		}
		if files["device"] == "" {
			continue
		}
		ran++
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) { find(t, files) })
	}
	if ran < 10 {
		t.Errorf("only %d cases", ran)
	}
}

func find(t *testing.T, files map[string]string) {
	line, code, _ := strings.Cut(strings.TrimSpace(files["request"]), "# want: ")
	method, target, _ := strings.Cut(strings.TrimSpace(line), " ")
	wireName, address := device(t, files["device"])
	dev := program.Device{Name: "deck", Wire: wireName, Address: address, Login: strings.TrimSpace(files["login"]), Deadline: 10_000_000}
	if code == "device-no-answer" {
		dev.Deadline = 200_000 // the others must not meet it, however busy this machine is
	}
	c, err := New(dev, func(name string) string {
		value, _ := strings.CutPrefix(strings.TrimSuffix(files["environment"], "\n"), name+"=")
		return strings.ReplaceAll(value, `\r`, "\r")
	})
	if err == nil {
		defer c.Close()
		_, err = c.Send(t.Context(), &program.Request{Method: method, Target: target})
	}
	if got := wire.CodeOf(err); got != diag.Code(code) {
		t.Errorf("got %q: %v", got, err)
	}
}

// device makes one that behaves as it is told.
func device(t *testing.T, how string) (wireName, address string) {
	t.Helper()
	switch words := strings.TrimSpace(how); {
	case words == "closed":
		return "http", "127.0.0.1:" + freePort(t)
	case words == "silent":
		return "http", once(t, "", true)
	case words == "hangs up":
		return "http", once(t, "", false)
	case strings.HasPrefix(words, "at "):
		return "http", words[3:]
	case words == "answers https with plain text":
		return "https", once(t, "HTTP/1.1 400 Bad Request\r\n\r\n", false)
	case words == "has a certificate of its own":
		s := httptest.NewUnstartedServer(http.NotFoundHandler())
		s.Config.ErrorLog = log.New(io.Discard, "", 0)
		s.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
		s.StartTLS()
		t.Cleanup(s.Close)
		return "https", s.Listener.Addr().String()
	}
	head, silence := strings.CutSuffix(how, "... and then silence\n")
	return "http", once(t, strings.ReplaceAll(head, "\n", "\r\n"), silence)
}

// once answers each connection with text, then is silent or ends it.
func once(t *testing.T, text string, silent bool) string {
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
			_, _ = conn.Read(make([]byte, 4096)) // the request
			_, _ = io.WriteString(conn, text)
			if silent {
				_, _ = conn.Read(make([]byte, 1)) // until the client gives up
			}
			_ = conn.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return l.Addr().String()
}
