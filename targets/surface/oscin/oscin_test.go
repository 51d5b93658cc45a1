package oscin

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// board is an OSC surface of the test: it sends, and hears what it is told as
// lines of "address argument argument".
type board struct {
	t     *testing.T
	to    osc.Sender
	lines chan string
}

func serve(t *testing.T, d surface.Desk, c Config, patience time.Duration) *Surface {
	t.Helper()
	c.Address = "127.0.0.1:0"
	s, err := listen(d, c, patience)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func newBoard(t *testing.T, s *Surface) *board {
	t.Helper()
	b := &board{t: t, lines: make(chan string, 4096)}
	var err error
	wire := s.Wire
	if wire == "" {
		wire = "osc.udp"
	}
	b.to, err = osc.NewSender(osc.Config{Wire: wire, Address: s.Addr().String(), Heard: func(packet []byte, _ osc.From) {
		p, err := osc.Decode(packet)
		if err != nil {
			t.Errorf("it says %x: %v", packet, err)
			return
		}
		osc.Each(p, func(m osc.Message) { b.lines <- line(m) })
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.to.Close() })
	return b
}

func line(m osc.Message) string {
	words := []string{m.Path}
	for _, a := range m.Args {
		words = append(words, a.String())
	}
	return strings.Join(words, " ")
}

func (b *board) say(path string, args ...osc.Arg) {
	b.t.Helper()
	packet, err := osc.AppendMessage(nil, path, args...)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := b.to.Send(context.Background(), [][]byte{packet}); err != nil {
		b.t.Fatal(err)
	}
}

// hears waits for a line that begins so.
func (b *board) hears(want string) string {
	b.t.Helper()
	var others []string
	for late := time.After(5 * time.Second); ; {
		select {
		case l := <-b.lines:
			if strings.HasPrefix(l, want) {
				return l
			}
			others = append(others, l)
		case <-late:
			b.t.Fatalf("it was never told %q, only %q", want, others)
		}
	}
}

var wires = []string{"osc.udp", "osc.tcp", "osc.slip"}

// TestEachWire: a press, its answer, its lamp, a page that turns, on each wire.
func TestEachWire(t *testing.T) {
	for _, wire := range wires {
		t.Run(wire, func(t *testing.T) {
			d := surfacetest.New(t, surfacetest.Show(t))
			b := newBoard(t, serve(t, d, Config{Wire: wire}, patience))
			b.say("/watch")
			b.hears(`/show "Small show"`)
			b.hears(`/standby "1" "Doors"`)
			b.hears(`/clock "3.5" "Extra" "21:15:00" 5`)
			b.hears(`/timecode "locked" "01:00:00:05" false "4" "Anthem" "01:02:03:04"`)
			b.hears(`/disarmed`)
			b.hears(`/page/desk "cameras"`)
			b.hears(`/lamp/desk/1/1 "Wide" "`)
			b.hears(`/lamp/desk/3/5 "Stop" "lit" "shut"`)
			b.hears(`/page/side_desk "crew"`)
			b.hears("/alive ")

			b.say("/finger/desk/1/2", osc.Int32(1))
			b.hears(`/answer "done" "" 0`)
			b.say("/finger/desk/1/2", osc.Int32(0))
			b.hears(`/lamp/desk/1/2 "Goal" "`)
			b.say("/finger/desk/3/5", osc.Bool(true))
			b.hears(`/lamp/desk/3/5 "Stop" "lit" "open"`)
			b.say("/finger/desk/3/4", osc.Float32(1))
			b.hears(`/page/desk "crew"`)
			b.hears(`/lamp/desk/3/5 "" "dark" "none"`)
			b.say("/rundown/go", osc.String("1"))
			b.hears(`/standby "2" "Titles"`)
			b.say("/cue/3.5/disarm")
			b.hears(`/clock "" "" "" 0`)
			b.hears(`/disarmed "3.5"`)
			b.say("/rundown/disarm")
			b.hears(`/disarmed "3.5" "4"`)
			b.say("/rundown/arm")
			b.hears(`/clock "3.5"`)
			b.say("/cue/9/disarm")
			b.hears(`/answer "refused" "there is no cue of that number"`)
		})
	}
}

// TestWhatIsPressed: each address becomes the press that README.md says.
func TestWhatIsPressed(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{}, patience))
	p := d.View().Program
	wide := d.Button(t, "cameras", 1, 1)
	tests := []struct {
		path string
		args []osc.Arg
		want surface.Press
	}{
		{"/finger/desk/1/1", []osc.Arg{osc.Int32(1), osc.Int64(7)}, surface.Press{Kind: surface.Down, Surface: 0, Button: wide, Cue: -1, Destination: -1, Number: 7}},
		{"/finger/desk/1/1", []osc.Arg{osc.Float32(0), osc.Int32(8)}, surface.Press{Kind: surface.Up, Surface: 0, Button: wide, Cue: -1, Destination: -1, Number: 8}},
		{"/rundown/go", nil, surface.Press{Kind: surface.Go, Surface: -1, Button: -1, Cue: -1, Destination: -1}},
		{"/rundown/go", []osc.Arg{osc.String("3.5"), osc.Int32(9)}, surface.Press{Kind: surface.Go, Surface: -1, Button: -1, Cue: 3, Destination: -1, Number: 9}},
		{"/rundown/back", nil, surface.Press{Kind: surface.Back, Surface: -1, Button: -1, Cue: -1, Destination: -1}},
		{"/rundown/skip", []osc.Arg{osc.Int32(10)}, surface.Press{Kind: surface.Skip, Surface: -1, Button: -1, Cue: -1, Destination: -1, Number: 10}},
		{"/everything/stop", nil, surface.Press{Kind: surface.StopAll, Surface: -1, Button: -1, Cue: -1, Destination: -1}},
		{"/pair/switch", nil, surface.Press{Kind: surface.SwitchOver, Surface: -1, Button: -1, Cue: -1, Destination: -1}},
		{"/everything/resume", nil, surface.Press{Kind: surface.Resume, Surface: -1, Button: -1, Cue: -1, Destination: -1}},
		{"/destination/" + p.Destinations[1].Name + "/resend", nil, surface.Press{Kind: surface.Resend, Surface: -1, Button: -1, Cue: -1, Destination: 1}},
		{"/destination/" + p.Destinations[2].Name + "/adopt", []osc.Arg{osc.Int32(11)}, surface.Press{Kind: surface.Adopt, Surface: -1, Button: -1, Cue: -1, Destination: 2, Number: 11}},
		{"/field/main.program/adopt", nil, surface.Press{Kind: surface.Adopt, Surface: -1, Button: -1, Cue: -1, Destination: d.View().OutputNamed("main.program")}},
		{"/field/effects.program/resend", nil, surface.Press{Kind: surface.Resend, Surface: -1, Button: -1, Cue: -1, Destination: d.View().OutputNamed("effects.program")}},
	}
	for i, c := range tests {
		b.say(c.path, c.args...)
		b.hears("/answer ")
		got := d.Pressed()
		if len(got) != i+1 {
			t.Fatalf("%s: %d presses, want %d", c.path, len(got), i+1)
		}
		one := got[i]
		if one.Of != p || !strings.HasPrefix(one.By, "osc 127.0.0.1:") {
			t.Errorf("%s: by %q", c.path, one.By)
		}
		one.Of, one.By = nil, ""
		if one != c.want {
			t.Errorf("%s: got %+v, want %+v", c.path, one, c.want)
		}
	}
}

// TestRefused: what is not understood is answered and presses nothing.
func TestRefused(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{}, patience))
	for path, args := range map[string][]osc.Arg{
		"/finger/desk/1/1":                nil,
		"/finger/desk/1/2":                {osc.String("1")},
		"/finger/desk/one/1":              {osc.Int32(1)},
		"/finger/nowhere/1/1":             {osc.Int32(1)},
		"/finger/desk/9/9":                {osc.Int32(1)},
		"/finger/desk/0/0":                {osc.Int32(1)},
		"/finger/desk/-1/1":               {osc.Int32(1)},
		"/finger/desk/4294967297/1":       {osc.Int32(1)},
		"/finger/desk/1":                  {osc.Int32(1)},
		"/rundown/go":                     {osc.String("99")},
		"/rundown/fly":                    nil,
		"/destination/x/resend":           nil,
		"/destination/main.program/adopt": nil, // a field
		"/field/screens/adopt":            nil, // a destination
		"/" + strings.Repeat("x", 4000):   nil,
	} {
		b.say(path, args...)
		if got := b.hears("/answer"); !strings.HasPrefix(got, `/answer "refused" "`) || len(got) > 200 {
			t.Errorf("%s: %s", path, got)
		}
	}
	if got := d.Pressed(); len(got) != 0 {
		t.Errorf("pressed: %v", got)
	}
}

// TestDuplicates: of a message that comes twice, or late, one counts.
func TestDuplicates(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{}, patience))
	for _, c := range []struct {
		down   int32
		number int32
		want   string
	}{
		{1, 1, "done"}, {1, 1, "repeated"}, {0, 2, "done"}, {0, 2, "repeated"},
		{1, 1, "repeated"}, // came late
		{1, 5, "done"}, {0, 4, "repeated"}, {0, 6, "done"},
	} {
		b.say("/finger/desk/1/1", osc.Int32(c.down), osc.Int32(c.number))
		want := fmt.Sprintf(`/answer "%s" "%s" %d`, c.want, map[string]string{"repeated": "it came twice"}[c.want], c.number)
		if got := b.hears("/answer"); got != want {
			t.Errorf("%v: got %s, want %s", c, got, want)
		}
	}
	if n := len(d.Pressed()); n != 4 {
		t.Errorf("%d presses, want 4", n)
	}
	b.say("/watch") // a board that was switched off and on again counts from 1
	b.say("/finger/desk/1/1", osc.Int32(1), osc.Int32(1))
	b.hears(`/answer "done"`)
}

// TestOneSurface: who watches one surface is told nothing of the others, and
// who unwatches is told answers only.
func TestOneSurface(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{Wire: "osc.tcp"}, patience))
	b.say("/unwatch")
	b.say("/rundown/go", osc.String("99"))
	b.hears("/answer")
	b.say("/watch", osc.String("side_desk"))
	first := b.hears("/") // TCP keeps the order: what was told to a silent one would be here
	for ; !strings.HasPrefix(first, "/lamp/side_desk/2/4"); first = b.hears("/") {
		if strings.Contains(first, "/desk") {
			t.Errorf("told %s", first)
		}
	}
}

// TestAlertsOnce: each alert is told once, and again to who subscribes anew.
func TestAlertsOnce(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{Wire: "osc.tcp"}, patience))
	b.say("/watch")
	b.hears("/lamp/side_desk/2/4")
	b.say("/rundown/go", osc.String("3.5"))
	b.hears(`/alert "start again"`)
	b.say("/watch")
	b.hears(`/alert "start again"`)
}

// TestFaultIsTold: a device that goes away, at once.
func TestFaultIsTold(t *testing.T) {
	p := surfacetest.Show(t)
	d := surfacetest.New(t, p)
	b := newBoard(t, serve(t, d, Config{}, patience))
	b.say("/watch")
	b.hears("/lamp/side_desk/2/4")
	mixer := int32(slices.IndexFunc(p.Devices, func(x program.Device) bool { return x.Name == "mixer" }))
	d.Event(step.Fault, mixer, int32(program.Away))
	b.hears(`/away "mixer"`)
	b.hears(`/lamp/desk/1/1 "Wide" "fault" "none"`)
}

// TestNotAllowed: who is not on the list gets no answer, presses nothing and
// leaves nothing behind.
func TestNotAllowed(t *testing.T) {
	for _, wire := range wires {
		t.Run(wire, func(t *testing.T) {
			d := surfacetest.New(t, surfacetest.Show(t))
			s := serve(t, d, Config{Wire: wire, Allow: []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")}}, patience)
			b := newBoard(t, s)
			for range 100 {
				if s.receiverIsUDP() {
					b.say("/finger/desk/1/1", osc.Int32(1))
				} else if c := connect(t, s, "127.0.0.1"); !ends(c) {
					t.Error("a connection stays open")
				}
			}
			for end := time.Now().Add(5 * time.Second); s.Refused() < 100; time.Sleep(time.Millisecond) {
				if time.Now().After(end) {
					t.Fatalf("%d were refused, want 100", s.Refused())
				}
			}
			if len(b.lines) != 0 || len(d.Pressed()) != 0 || len(s.peers) != 0 || d.Watchers() != 0 {
				t.Errorf("told %d lines, pressed %v, %d peers", len(b.lines), d.Pressed(), len(s.peers))
			}
		})
	}
}

// connect is a connection from an address of this machine, which is closed at
// the end of the test.
func connect(t *testing.T, s *Surface, from string) net.Conn {
	t.Helper()
	d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
	c, err := d.Dial("tcp", s.Addr().String())
	if err != nil {
		t.Skip("this machine has no such address:", err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// ends says whether the other side closes a connection.
func ends(c net.Conn) bool {
	_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
	_, err := c.Read(make([]byte, 1))
	return err != nil && !errors.Is(err, os.ErrDeadlineExceeded)
}

// TestStrangersTakeNoPlace: however many connections come from elsewhere and
// stay, an operator who is allowed gets in.
func TestStrangersTakeNoPlace(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Wire: "osc.tcp", Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.2/32")}}, patience)
	for range 3 * maxPeers {
		connect(t, s, "127.0.0.1")
	}
	c := connect(t, s, "127.0.0.2")
	packet, err := osc.AppendMessage(nil, "/finger/desk/1/1", osc.Int32(1))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Write(osc.AppendFrame(nil, osc.Sized, packet)); err != nil {
		t.Fatal(err)
	}
	d.Await(t, "it is pressed", func(*surface.View) bool { return len(d.Pressed()) == 1 })
}

// TestAllow: networks and addresses; what is neither is named.
func TestAllow(t *testing.T) {
	got, err := Allow([]string{"192.0.2.7", "198.51.100.9/24", "2001:db8::/32"})
	if err != nil || fmt.Sprint(got) != "[192.0.2.7/32 198.51.100.0/24 2001:db8::/32]" {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"", "board.lan", "192.0.2.0/33", "192.0.2"} {
		if _, err := Allow([]string{bad}); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

// TestSilentPeerIsForgotten: and its finger lifted, so that nothing stays held.
func TestSilentPeerIsForgotten(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{}, 50*time.Millisecond)
	b := newBoard(t, s)
	b.say("/finger/desk/1/3", osc.Int32(1))
	for end := time.Now().Add(5 * time.Second); len(d.Pressed()) < 2; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the finger stays down")
		}
	}
	if last := d.Pressed()[1]; last.Kind != surface.Up {
		t.Errorf("the last press is %+v", last)
	}
}

// TestPeersAreBounded: however many speak, at most maxPeers are kept, and the
// latest is among them.
func TestPeersAreBounded(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{}, patience)
	for range maxPeers + 20 {
		b := newBoard(t, s)
		b.say("/rundown/fly")
		b.hears("/answer")
	}
	s.mu.Lock()
	n := len(s.peers)
	s.mu.Unlock()
	if n != maxPeers {
		t.Errorf("%d peers, want %d", n, maxPeers)
	}
}

// TestReload: a finger that was down when the show changed does not come up
// from another button of the new one, and the new one is told.
func TestReload(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{}, patience))
	b.say("/watch", osc.String("desk"))
	b.hears("/lamp/desk/3/5")
	b.say("/finger/desk/1/1", osc.Int32(1))
	b.hears(`/answer "done"`)
	d.Swap(surfacetest.Load(t, "league/league.show"))
	b.hears(`/lamp/desk/1/1 "Tower"`)
	b.say("/finger/desk/1/1", osc.Int32(0))
	b.hears(`/answer "refused" "the show has changed"`)
}

// FuzzHear: whatever comes, nothing panics, and all that is said back is OSC.
func FuzzHear(f *testing.F) {
	d := surfacetest.New(f, surfacetest.Show(f))
	s := &Surface{desk: d}
	for _, path := range []string{"/finger/desk/1/1", "/rundown/go", "/watch", "/destination/screens/resend", "/surface/desk/take", "/show/keep", "//", "/finger///"} {
		packet, err := osc.AppendPacket(nil, osc.Message{Path: path, Args: []osc.Arg{osc.Int32(1), osc.Int64(3)}})
		if err == nil {
			f.Add(packet)
		}
	}
	f.Add([]byte("/finger/desk/1/1\x00\x00\x00\x00,TI\x00"))
	f.Fuzz(func(t *testing.T, packet []byte) {
		p, err := osc.Decode(packet)
		if err != nil {
			return
		}
		who := newPeer(s, osc.From{})
		osc.Each(p, func(m osc.Message) {
			q := who.meaning(strings.Split(strings.TrimPrefix(m.Path, "/"), "/"), m.Args)
			if q.do != nil && (q.numberAt < 0 || q.numberAt > 1) {
				t.Errorf("%v: the number is argument %d", m, q.numberAt)
			}
			if q.do != nil {
				_ = q.do(0)
			}
			if how, _ := who.order(true, m.Args); how.Trial == 0 {
				t.Errorf("%v is no trial", m)
			}
		})
		who.hand.Gone()
	})
}

// BenchmarkPress is a message in and the answer's way, without a network.
func BenchmarkPress(b *testing.B) {
	d := surfacetest.New(b, surfacetest.Show(b))
	who := newPeer(&Surface{desk: d}, osc.From{})
	for i := range b.N {
		_ = who.meaning([]string{"finger", "desk", "1", "1"}, []osc.Arg{osc.Int32(int32(1 - i&1))}).do(0)
	}
}
