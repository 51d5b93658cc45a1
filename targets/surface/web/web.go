// Package web is HTTP as a surface: a page that shows the buttons of a surface
// on a tablet, and a JSON interface with WebSocket and Server-Sent Events for
// everything else. README.md has the requests.
//
// Its doors are shut: it answers only to the names it is called by, to pages
// of its own, and beyond this machine only to who has the token. Nothing that
// a client sends without the token is kept; connections, headers and bodies
// are bounded.
package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"sync/atomic"
	"time"

	"cuewright/targets/surface"
)

// Config says where to listen and to whom.
type Config struct {
	Address  string       // host:port
	Token    string       // who has it may press; "" is allowed on loopback only
	Hosts    []string     // further names it is called by: "board.lan", or "board.lan:8443"
	CertFile string       // with KeyFile: HTTPS only
	KeyFile  string       //
	Log      *slog.Logger // nil is silence

	More map[string]http.Handler // further things to GET, by path, for who has the token
}

const (
	shortestToken  = 8       // characters
	maxHeader      = 8 << 10 // bytes, and 4 KiB that net/http adds
	maxBody        = 4 << 10 // bytes of a request
	maxConnections = 256
	maxEach        = 48 // connections of one address
	maxStreams     = 64
	maxClients     = 64
	freshFor       = 2 * time.Second // a view that is older makes the controller not ready
)

// Surface serves until Close.
type Surface struct {
	desk    surface.Desk
	log     *slog.Logger
	door    *door
	clients clients
	server  *http.Server
	at      netip.AddrPort
	secure  bool
	ctx     context.Context
	stop    context.CancelFunc
	more    map[string]http.Handler
	refused atomic.Uint64 // requests without the token
	streams chan struct{} // one value for each open stream
	running sync.WaitGroup
}

// Check says why it cannot be served so: beyond this machine there must be a
// token.
func (c *Config) Check() error {
	at, err := net.ResolveTCPAddr("tcp", c.Address)
	switch {
	case err != nil:
		return fmt.Errorf("`%s` is not host:port", c.Address)
	case c.Token == "" && !at.IP.IsLoopback():
		return fmt.Errorf("`%s` can be reached from other machines: a pairing code is needed", c.Address)
	case c.Token != "" && len(c.Token) < shortestToken:
		return fmt.Errorf("the pairing code is shorter than %d characters", shortestToken)
	case (c.CertFile == "") != (c.KeyFile == ""):
		return errors.New("a certificate needs its key, and a key its certificate")
	}
	return nil
}

// Listen begins to serve, if Check has nothing against it.
func Listen(desk surface.Desk, c Config) (*Surface, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if err := c.Check(); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", c.Address)
	if err != nil {
		return nil, err
	}
	at := l.Addr().(*net.TCPAddr).AddrPort()
	if c.Token == "" && !at.Addr().Unmap().IsLoopback() { // a name may have come to mean another address
		_ = l.Close()
		return nil, fmt.Errorf("%s can be reached from other machines: a pairing code is needed", at)
	}
	s := &Surface{desk: desk, log: c.Log, at: at, more: c.More, secure: c.CertFile != "", streams: make(chan struct{}, maxStreams)}
	s.door = newDoor(c.Token, c.Hosts, s.secure)
	s.ctx, s.stop = context.WithCancel(context.Background())
	l = newLimited(l)
	if s.secure {
		cert, err := tls.LoadX509KeyPair(c.CertFile, c.KeyFile)
		if err != nil {
			_ = l.Close()
			return nil, fmt.Errorf("the certificate cannot be used: %w", err)
		}
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	s.server = &http.Server{
		Handler:           s.door.guard(s.routes()),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      10 * time.Second, // streams set their own for each message
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(c.Log.Handler(), slog.LevelDebug),
		BaseContext:       func(net.Listener) context.Context { return s.ctx },
		ConnContext:       func(ctx context.Context, c net.Conn) context.Context { return context.WithValue(ctx, rawConn{}, c) },
	}
	s.running.Go(func() { _ = s.server.Serve(l) }) // it always ends with an error: that it was closed
	s.running.Go(s.forgetSilent)
	return s, nil
}

// Addr is where it listens.
func (s *Surface) Addr() netip.AddrPort { return s.at }

// URL is what a tablet on this machine opens.
func (s *Surface) URL() string {
	if s.secure {
		return "https://" + s.at.String() + "/"
	}
	return "http://" + s.at.String() + "/"
}

// Way is its way in: tablets and programs with the token, not yet forgotten.
func (s *Surface) Way() surface.Way {
	kind := "http"
	if s.secure {
		kind = "https"
	}
	return surface.Way{Kind: kind, At: s.at.String(), Clients: s.clients.list(), Refused: s.refused.Load()}
}

// Close ends all streams, lifts all fingers and waits.
func (s *Surface) Close() error {
	s.stop()
	soon, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	err := s.server.Shutdown(soon)
	if err != nil {
		err = s.server.Close()
	}
	s.running.Wait()
	s.clients.dropAll()
	return err
}

// routes are the requests there are. What shows or does anything of the show
// is behind the token; the page's shell, pairing and the two that say whether
// the controller lives are not.
func (s *Surface) routes() http.Handler {
	m := http.NewServeMux()
	for path, file := range shell {
		m.HandleFunc("GET "+path, file.serve)
	}
	m.HandleFunc("GET /health", s.health)
	m.HandleFunc("GET /ready", s.ready)
	m.HandleFunc("POST /pair", s.pair)
	m.HandleFunc("GET /api/view", s.known(s.view))
	m.HandleFunc("GET /api/tablets", s.known(s.tablets))
	m.HandleFunc("GET /api/events", s.known(s.events))
	m.HandleFunc("GET /api/socket", s.known(s.socket))
	m.HandleFunc("POST /api/press", s.known(s.press))
	m.HandleFunc("POST /api/load", s.known(s.load))
	for path, h := range s.more {
		m.HandleFunc("GET "+path, s.known(h.ServeHTTP))
	}
	return m
}

// health says whether the controller's loop turns: a program of which only
// this server still answers is dead.
func (s *Surface) health(w http.ResponseWriter, _ *http.Request) {
	if time.Since(s.desk.View().At) > freshFor {
		plain(w, http.StatusServiceUnavailable, "the controller does not turn")
		return
	}
	plain(w, http.StatusOK, "alive")
}

// ready says whether a press would be done now.
func (s *Surface) ready(w http.ResponseWriter, r *http.Request) {
	v := s.desk.View()
	switch {
	case time.Since(v.At) > freshFor:
		s.health(w, r)
	case v.Held:
		plain(w, http.StatusServiceUnavailable, "held: nobody has resumed the show")
	default:
		plain(w, http.StatusOK, "ready")
	}
}

func plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text + "\n")) // who has gone does not need it
}
