package control

import (
	"context"
	"encoding/binary"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/coder/websocket"

	"cuewright/targets/osc"
	"cuewright/targets/surface/keys"
	"cuewright/targets/surface/midi"
	"cuewright/targets/surface/oscin"
	"cuewright/targets/surface/web"
)

// finger puts itself on the button at row 1 of desk, and comes up again.
// Number is a running number for those that have one.
type finger func(column int, down bool, number int)

// hands are the protocols, each of which makes a finger of an operator of its
// own. What is said twice is said twice in the same words, where it can have a
// number; contacts are those that bounce.
var hands = map[string]struct {
	make               func(*testing.T, *Controller) finger
	numbered, contacts bool
}{
	"OSC by UDP":   {oscFinger("osc.udp"), true, false},
	"OSC by TCP":   {oscFinger("osc.tcp"), true, false},
	"OSC by SLIP":  {oscFinger("osc.slip"), true, false},
	"HTTP":         {postFinger, true, false},
	"WebSocket":    {socketFinger, true, false},
	"MIDI":         {midiFinger, false, true},
	"the keyboard": {keyFinger, false, true},
}

func oscFinger(wire string) func(*testing.T, *Controller) finger {
	return func(t *testing.T, c *Controller) finger {
		s, err := oscin.Listen(c, oscin.Config{Wire: wire, Address: "127.0.0.1:0"})
		if err != nil {
			t.Fatal(err)
		}
		to, err := osc.NewSender(osc.Config{Wire: wire, Address: s.Addr().String(), Heard: func([]byte, osc.From) {}})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = to.Close(); _ = s.Close() })
		return func(column int, down bool, number int) {
			packet, err := osc.AppendMessage(nil, fmt.Sprintf("/finger/desk/1/%d", column), osc.Bool(down), osc.Int32(int32(number)))
			if err != nil || to.Send(t.Context(), [][]byte{packet}) != nil {
				t.Error("not sent")
			}
		}
	}
}

func fingerJSON(column int, down bool, number int) string {
	return fmt.Sprintf(`{"kind":"%s","surface":"desk","row":1,"column":%d,"number":%d}`, map[bool]string{true: "down", false: "up"}[down], column, number)
}

func tabletAt(t *testing.T, c *Controller) *web.Surface {
	t.Helper()
	s, err := web.Listen(c, web.Config{Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func postFinger(t *testing.T, c *Controller) finger {
	s := tabletAt(t, c)
	client := &http.Client{Transport: &http.Transport{}}
	t.Cleanup(client.CloseIdleConnections)
	who := s.Addr().Port() // each operator has a page of his own
	return func(column int, down bool, number int) {
		answer, err := client.Post(fmt.Sprintf("%sapi/press?who=tablet%d", s.URL(), who), "application/json", strings.NewReader(fingerJSON(column, down, number)))
		if err != nil {
			t.Error(err)
			return
		}
		_ = answer.Body.Close()
	}
}

func socketFinger(t *testing.T, c *Controller) finger {
	s := tabletAt(t, c)
	conn, _, err := websocket.Dial(t.Context(), fmt.Sprintf("ws://%s/api/socket?who=tablet%d", s.Addr(), s.Addr().Port()), nil)
	if err != nil {
		t.Fatal(err)
	}
	conn.SetReadLimit(1 << 20)
	reading, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			if _, _, err := conn.Read(reading); err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { stop(); <-done; _ = conn.CloseNow() })
	return func(column int, down bool, number int) {
		if err := conn.Write(t.Context(), websocket.MessageText, []byte(fingerJSON(column, down, number))); err != nil {
			t.Error(err)
		}
	}
}

// pipe is a named pipe and its end for writing.
func pipe(t *testing.T) (name string, w *os.File) {
	t.Helper()
	name = filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(name, 0o600); err != nil {
		t.Fatal(err)
	}
	w, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = w.Close() })
	return name, w
}

func midiFinger(t *testing.T, c *Controller) finger {
	name, w := pipe(t)
	s, err := midi.Start(c, midi.Config{File: name, Surface: "desk"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return func(column int, down bool, _ int) {
		note := []byte{0x90, midi.DefaultBase + byte(column) - 1, map[bool]byte{true: 100}[down]}
		if _, err := w.Write(note); err != nil {
			t.Error(err)
		}
	}
}

func keyFinger(t *testing.T, c *Controller) finger {
	name, w := pipe(t)
	s, err := keys.Start(c, keys.Config{File: name, Surface: "desk", Bits: 64})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return func(column int, down bool, _ int) {
		event := make([]byte, 24) // struct input_event: two longs of time, type EV_KEY, code KEY_1 …, value
		binary.LittleEndian.PutUint16(event[16:], 1)
		binary.LittleEndian.PutUint16(event[18:], uint16(1+column))
		if down {
			event[20] = 1
		}
		if _, err := w.Write(event); err != nil {
			t.Error(err)
		}
		if down { // a key that is held repeats by itself
			event[20] = 2
			_, _ = w.Write(event)
		}
	}
}

// By every protocol a tap is a tap and fires when it is let go, a finger that
// stays down holds and does not tap, what comes twice counts once, a contact
// that bounces as it closes or opens is one finger, and two operators at once
// have theirs done once each.
func TestFingers(t *testing.T) {
	for name, hand := range hands {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := compiled(t)
			r, out := rack(t, p)
			dir := t.TempDir()
			c := start(t, r.Program(), Options{Dir: dir})
			press := hand.make(t, c)
			number := 0
			edge := func(column int, down bool) {
				number++
				press(column, down, number)
				if hand.numbered {
					press(column, down, number)
				}
			}
			pause := func(ms int) { time.Sleep(time.Duration(ms) * time.Millisecond) }
			const wide, goal = 1, 2

			edge(goal, true)
			pause(60)
			if out.heard("cut main to goal") != 0 {
				t.Error("a button that can be held fires before it is let go")
			}
			edge(goal, false)
			await(t, "a tap cuts", func() bool { return out.heard("cut main to goal") == 1 })

			pause(60)
			edge(goal, true)
			await(t, "holding recalls", func() bool { return out.heard("recall goal shot 2") == 1 })
			edge(goal, false)
			pause(60)

			if hand.contacts {
				for _, closed := range []bool{true, false, true, false, true} {
					edge(goal, closed)
					pause(3)
				}
				await(t, "holding recalls though it bounced", func() bool { return out.heard("recall goal shot 2") == 2 })
				for _, closed := range []bool{false, true, false, true, false} {
					edge(goal, closed)
					pause(3)
				}
				pause(60)
			}
			edge(wide, true)
			edge(wide, false)
			await(t, "it fires as it goes down", func() bool { return out.heard("cut main to wide") == 1 })
			pause(60)
			if cuts, holds := out.heard("cut main to goal"), out.heard("recall goal shot 2"); cuts != 1 || holds > 2 {
				t.Errorf("cut %d times, recalled %d times", cuts, holds)
			}

			other := hand.make(t, c)
			cuts := 1
			for n := 1; n <= 5; n++ { // two operators, the same button and others
				edge(wide, true)
				other(wide, true, 2*n)
				edge(wide, false)
				other(wide, false, 2*n+1)
				pause(60)
				cuts += 2
			}
			await(t, "both have cut", func() bool { return out.heard("cut main to wide") == cuts })
			pause(60)
			if n := out.heard("cut main to wide"); n != cuts {
				t.Errorf("cut %d times, want %d", n, cuts)
			}
			stop(t, c)
			replays(t, dir)
		})
	}
}
