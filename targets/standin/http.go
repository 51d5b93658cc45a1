package standin

import (
	"context"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// maxBody is the longest request body that is read, in bytes.
const maxBody = 1 << 20

// serveHTTP listens at address.
func (at *post) serveHTTP(address string) (netip.AddrPort, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return netip.AddrPort{}, err
	}
	server := &http.Server{
		Handler:           http.HandlerFunc(at.request),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      10 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          log.New(io.Discard, "", 0), // a client that breaks off is no news here
	}
	var serving sync.WaitGroup
	serving.Go(func() { _ = server.Serve(l) }) // it always ends with an error: that it was closed
	at.close = func() error {
		soon, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if server.Shutdown(soon) != nil {
			_ = server.Close()
		}
		serving.Wait()
		return nil
	}
	return l.Addr().(*net.TCPAddr).AddrPort(), nil
}

func (at *post) request(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		http.Error(w, "the body cannot be read", http.StatusRequestEntityTooLarge)
		return
	}
	answer := page{status: http.StatusServiceUnavailable} // when the rack is being closed
	at.rack.do(func() { answer = at.answer(r, body) })
	if answer.status == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", `Basic realm="stand-in"`)
	}
	if answer.kind != "" {
		w.Header().Set("Content-Type", answer.kind)
	}
	w.WriteHeader(answer.status)
	_, _ = w.Write(answer.body) // a client that has gone does not need it
}

// answer logs a request, carries it out when the plan knows it, and says what
// the device would.
func (at *post) answer(r *http.Request, body []byte) page {
	what, found := at.known[requestKey(r.Method, r.RequestURI, body)]
	device := at.asked(what.device, found, r)
	credential := credentialOf(r.Header.Get("Authorization"))
	answer, asked := page{}, false
	if device >= 0 {
		answer, asked = at.rack.model.state(device, r.Method, r.RequestURI)
	}
	var touched []int32
	switch {
	case device >= 0 && !at.lets(device, credential):
		answer = page{status: http.StatusUnauthorized, kind: "text/plain; charset=utf-8", body: []byte("a login or token is wanted\n")}
	case found:
		touched = at.rack.model.apply(what.command, time.Now())
		if answer, asked = at.rack.model.state(device, r.Method, r.RequestURI); !asked {
			answer = page{status: http.StatusOK, kind: "application/json", body: []byte(`{"ok":true}`)}
		}
	case !asked:
		answer = page{status: http.StatusNotFound, kind: "text/plain; charset=utf-8", body: []byte("the plan sends no such request\n")}
	}
	shown := string(body[:min(len(body), maxShown)])
	at.rack.log.write(entry{Device: at.name(device), Wire: at.wire, From: r.RemoteAddr, Method: r.Method, Target: r.RequestURI,
		Body: strings.ToValidUTF8(shown, "\uFFFD"), Credential: credential, Status: answer.status, Means: what.text}, body)
	at.rack.tell(touched)
	return answer
}

// asked is the device that a request is for: the one whose message it is, or
// the first that the plan asks this, or -1.
func (at *post) asked(device int32, found bool, r *http.Request) int32 {
	if found {
		return device
	}
	for _, d := range at.devices {
		if _, asked := at.rack.model.state(d, r.Method, r.RequestURI); asked {
			return d
		}
	}
	return -1
}

// lets says whether the request has the sort of credential that the plan says
// the device wants. What it holds is not looked at.
func (at *post) lets(device int32, credential string) bool {
	d := &at.rack.p.Devices[device]
	return (d.Login == "" || credential == "login") && (d.Token == "" || credential == "token")
}

func credentialOf(header string) string {
	scheme, _, _ := strings.Cut(header, " ")
	switch {
	case header == "":
		return "none"
	case strings.EqualFold(scheme, "Basic"):
		return "login"
	case strings.EqualFold(scheme, "Bearer"):
		return "token"
	}
	return "other"
}
