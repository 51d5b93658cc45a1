package web

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"net/http"
	"time"

	"github.com/coder/websocket"

	"cuewright/targets/surface"
)

const (
	aliveEvery  = 500 * time.Millisecond
	pingEvery   = 2 * time.Second
	writeWithin = 2 * time.Second
	maxWaiting  = 16 // answers that wait to be written
)

// message is what a stream carries: one of these.
type message struct {
	View   *snapshot `json:"view,omitempty"`
	Alive  *alive    `json:"alive,omitempty"`
	Answer *reply    `json:"answer,omitempty"`
}

// alive says that the controller still turns, and how long ago it did.
type alive struct {
	Serial uint64 `json:"serial"`
	Age    int64  `json:"age"`
	Left   int64  `json:"left"` // of a trial
}

// enter takes a place among the streams; leave gives it back. Without one the
// client has been answered.
func (s *Surface) enter(w http.ResponseWriter, r *http.Request) (c *client, leave func(), ok bool) {
	select {
	case s.streams <- struct{}{}:
	default:
		plain(w, http.StatusServiceUnavailable, "too many are connected")
		return nil, nil, false
	}
	if c = s.client(r); c == nil {
		<-s.streams
		plain(w, http.StatusServiceUnavailable, "too many are here")
		return nil, nil, false
	}
	s.clients.opened(c)
	s.running.Add(1)
	return c, func() {
		s.clients.closed(c)
		<-s.streams
		s.running.Done()
	}, true
}

// follow writes the newest view at once and whenever there is a newer one, a
// sign of life in between, and answers as they come. It ends with ctx or with
// the first write that fails.
func (s *Surface) follow(ctx context.Context, you string, answers <-chan reply, write func([]byte) error) {
	changed, stop := s.desk.Watch()
	defer stop()
	ticker := time.NewTicker(aliveEvery)
	defer ticker.Stop()
	send := func(m message) bool {
		text, err := json.Marshal(m)
		return err == nil && write(text) == nil
	}
	life := func(v *surface.View) message { return message{Alive: &alive{v.Serial, age(v), left(v)}} }
	var last []byte
	view := func() message {
		v := s.desk.View()
		shown := snapshotOf(v, you)
		shown.Serial, shown.Age = 0, 0
		if shown.Trial != nil {
			shown.Trial.Left = 0
		}
		now, err := json.Marshal(shown)
		if err == nil && bytes.Equal(now, last) {
			return life(v) // a newer view that shows the same
		}
		last = now
		shown.Serial, shown.Age = v.Serial, age(v)
		if shown.Trial != nil {
			shown.Trial.Left = left(v)
		}
		return message{View: &shown}
	}
	for ok := send(view()); ok; {
		select {
		case <-ctx.Done():
			return
		case <-changed:
			ok = send(view())
		case a := <-answers:
			ok = send(message{Answer: &a})
		case <-ticker.C:
			ok = send(life(s.desk.View()))
		}
	}
}

// events is the stream as Server-Sent Events (WHATWG HTML 9.2); its client
// presses by POST.
func (s *Surface) events(w http.ResponseWriter, r *http.Request) {
	c, leave, ok := s.enter(w, r)
	if !ok {
		return
	}
	defer leave()
	w.Header().Set("Content-Type", "text/event-stream")
	control := http.NewResponseController(w)
	s.follow(r.Context(), c.key, nil, func(text []byte) error {
		_ = control.SetWriteDeadline(time.Now().Add(writeWithin)) // where it cannot be set the write fails
		event := append(append([]byte("data: "), text...), '\n', '\n')
		if _, err := w.Write(event); err != nil {
			return err
		}
		s.clients.touch(c)
		return control.Flush()
	})
}

// socket is the stream as a WebSocket (RFC 6455); its client presses on it.
func (s *Surface) socket(w http.ResponseWriter, r *http.Request) {
	c, leave, ok := s.enter(w, r)
	if !ok {
		return
	}
	defer leave()
	conn, err := websocket.Accept(w, r, nil)
	if err != nil {
		return // it has been answered
	}
	defer conn.CloseNow()
	conn.SetReadLimit(maxBody)
	ctx, cancel := context.WithCancel(s.ctx)
	defer cancel()
	answers := make(chan reply, maxWaiting)
	s.running.Go(func() {
		defer cancel()
		s.listen(ctx, r, conn, c, answers)
	})
	s.running.Go(func() {
		defer cancel()
		s.ping(ctx, conn, c)
	})
	s.follow(ctx, c.key, answers, func(text []byte) error {
		within, done := context.WithTimeout(ctx, writeWithin)
		defer done()
		return conn.Write(within, websocket.MessageText, text)
	})
	bye(r, conn, websocket.StatusGoingAway, "")
}

// bye ends a stream with a word, and within writeWithin: a peer that has begun
// a frame as long as it likes would else be waited for until that has come.
func bye(r *http.Request, conn *websocket.Conn, status websocket.StatusCode, reason string) {
	raw, ok := r.Context().Value(rawConn{}).(net.Conn)
	if !ok { // not of our server
		_ = conn.CloseNow()
		return
	}
	late := time.AfterFunc(writeWithin, func() { _ = raw.Close() })
	defer late.Stop()
	_ = conn.Close(status, reason) // who has gone does not need it
}

// rawConn is the key of a request's connection in its context.
type rawConn struct{}

// listen does what comes, in order. What is not JSON ends the stream.
func (s *Surface) listen(ctx context.Context, r *http.Request, conn *websocket.Conn, c *client, answers chan<- reply) {
	for {
		kind, text, err := conn.Read(ctx)
		if err != nil {
			return
		}
		var q request
		if kind != websocket.MessageText || json.Unmarshal(text, &q) != nil {
			bye(r, conn, websocket.StatusUnsupportedData, "JSON is wanted")
			return
		}
		s.clients.touch(c)
		select {
		case answers <- c.do(q):
		case <-ctx.Done():
			return
		}
	}
}

// ping finds out when a client has gone without a word, as a tablet that sleeps.
func (s *Surface) ping(ctx context.Context, conn *websocket.Conn, c *client) {
	ticker := time.NewTicker(pingEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		within, done := context.WithTimeout(ctx, writeWithin)
		err := conn.Ping(within)
		done()
		if err != nil {
			return
		}
		s.clients.touch(c)
	}
}
