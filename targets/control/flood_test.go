package control

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// rolling is what a recorder says that it does.
func rolling(t testing.TB, on int32) []byte {
	t.Helper()
	b, err := osc.AppendMessage(nil, "/rolling", osc.Int32(on))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// toAndFro says on and off so often that the plan hears it each time.
func toAndFro(t testing.TB, put func(to, packet []byte) []byte) (block []byte) {
	t.Helper()
	for i := range 1000 {
		block = put(block, rolling(t, int32(i%2)))
	}
	return block
}

func slip(to, packet []byte) []byte { return osc.AppendFrame(to, osc.SLIP, packet) }

func sized(to, packet []byte) []byte { return osc.AppendFrame(to, osc.Sized, packet) }

// flooding writes a block over and over until it is told to stop, and then a
// last word.
type flooding struct {
	stop atomic.Bool
	sent atomic.Int64
}

func (f *flooding) stream(block, last []byte) func(net.Conn) {
	return func(c net.Conn) {
		for !f.stop.Load() {
			n, err := c.Write(block)
			f.sent.Add(int64(n))
			if err != nil {
				return
			}
		}
		_, _ = c.Write(last)
		_, _ = io.Copy(io.Discard, c)
	}
}

// datagrams is a device that floods whoever has spoken to it.
func (f *flooding) datagrams(t *testing.T, packets [][]byte, last []byte) (address string) {
	t.Helper()
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	var sending sync.WaitGroup
	sending.Go(func() {
		_, peer, err := conn.ReadFromUDPAddrPort(make([]byte, 2048))
		for i := 0; err == nil && !f.stop.Load(); i++ {
			var n int
			if n, err = conn.WriteToUDPAddrPort(packets[i%len(packets)], peer); err == nil {
				f.sent.Add(int64(n))
			}
		}
		for range 20 { // the last word, so often that one gets through
			time.Sleep(5 * time.Millisecond)
			_, _ = conn.WriteToUDPAddrPort(last, peer)
		}
	})
	t.Cleanup(func() { f.stop.Store(true); conn.Close(); sending.Wait() })
	return conn.LocalAddr().String()
}

// A recorder that floods, with what the plan hears, with what nobody can read,
// or with what never ends, costs no press, little memory and little of the
// journal; what it says last is believed.
func TestFlood(t *testing.T) {
	garbage := bytes.Repeat([]byte{0xa5, 0xc0, 0x00, 0xdb}, 16<<10)
	for _, x := range []struct {
		name, wire string
		block      []byte
		last       []byte
	}{
		{"SLIP, what the plan hears", "osc.slip", toAndFro(t, slip), slip(nil, rolling(t, 1))},
		{"SLIP, garbage between", "osc.slip", toAndFro(t, func(to, p []byte) []byte { return slip(slip(to, p), []byte("garbage")) }), slip(nil, rolling(t, 1))},
		{"SLIP, garbage", "osc.slip", garbage, slip([]byte{0xc0}, rolling(t, 1))},
		{"SLIP, one frame without end", "osc.slip", make([]byte, 64<<10), slip(nil, rolling(t, 1))},
		{"SLIP, empty frames", "osc.slip", bytes.Repeat([]byte{0xc0}, 64<<10), slip(nil, rolling(t, 1))},
		{"sizes, what the plan hears", "osc.tcp", toAndFro(t, sized), sized(nil, rolling(t, 1))},
		{"sizes, empty packets", "osc.tcp", make([]byte, 64<<10), sized(nil, rolling(t, 1))},
		{"sizes, garbage", "osc.tcp", sized(nil, garbage), sized(nil, rolling(t, 1))},
		{"datagrams, what the plan hears", "osc.udp", nil, rolling(t, 1)},
		{"datagrams, garbage", "osc.udp", garbage[:1400], rolling(t, 1)},
	} {
		t.Run(x.name, func(t *testing.T) {
			var f flooding
			address := ""
			switch {
			case x.wire != "osc.udp":
				address = newBad(t, f.stream(x.block, x.last)).l.Addr().String()
			case x.block == nil:
				address = f.datagrams(t, [][]byte{rolling(t, 0), rolling(t, 1)}, x.last)
			default:
				address = f.datagrams(t, [][]byte{x.block}, x.last)
			}
			defer f.stop.Store(true)
			s := newSink(t)
			p := at(at(mixerAt(t, s.conn.LocalAddr().String()), "iso", x.wire, address), "mixer", "osc.udp", s.conn.LocalAddr().String())
			p.Observations = compiled(t).Observations
			dir := t.TempDir()
			c := start(t, p, Options{Dir: dir})
			if x.wire == "osc.udp" { // it answers who speaks
				look(c, func(s *show) {
					for i, d := range p.Devices {
						if d.Name == "iso" {
							_, _, _ = s.lines[i].link.send(t.Context(), []*program.Message{{OSC: rolling(t, 0)}})
						}
					}
				})
			}
			await(t, "it floods", func() bool { return f.sent.Load() > 1<<20 })
			before := heap()
			began := time.Now()
			wides(t, c, s, 20)
			if grown := int64(heap()) - int64(before); grown > 8<<20 {
				t.Errorf("%d KiB more than before", grown>>10)
			}
			seconds := int(time.Since(began)/time.Second) + 1
			f.stop.Store(true)
			await(t, "its last word is believed", func() bool {
				is := uint32(0)
				look(c, func(s *show) { is = s.m.L.Get(s.state, recorder(p, "iso")) })
				return is == program.MachineRunning
			})
			if text := fmt.Sprint(c.View().Alerts); strings.Count(text, "sends what cannot be read") > 1 {
				t.Errorf("garbage is told again and again: %s", text)
			}
			stop(t, c)
			if r := replays(t, dir); r.Events > 20*3+atOnceAllowed+fullMailbox+(seconds+3)*50 {
				t.Errorf("%d events in %d s", r.Events, seconds)
			}
		})
	}
}

func heap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func recorder(p *program.Program, name string) int32 {
	for _, r := range p.Recorders {
		if r.Name == name {
			return r.State
		}
	}
	return -1
}

// A device that goes to and fro by itself is said to have been changed by
// somebody else, but not each time.
func TestToAndFroIsToldOnce(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	dir := t.TempDir()
	c := start(t, at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String()), Options{Dir: dir, dial: peek})
	went(t, tap(t, c, button(t, p, "Wide")))
	await(t, "the mixer is told", func() bool { return m.count() == 1 })
	time.Sleep(time.Duration(settling) * time.Microsecond)
	for i := range 20 {
		m.says(c, int32(2-i%2))
		time.Sleep(5 * time.Millisecond)
	}
	await(t, "it is said", func() bool { return alerts(c, "somebody else has changed it") > 0 })
	stop(t, c)
	told := 0
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == journal.Alert && strings.Contains(r.Text, "main.program is goal") {
			told++
		}
		return nil
	}); err != nil || told != 1 {
		t.Errorf("told %d times, %v", told, err)
	}
}

// A device that takes its time for each message, while a show sends more than
// it can take, is away when too much waits: its buttons say so, what waits is
// not sent late, and others have been told all of theirs in order.
func TestTooMuchWaits(t *testing.T) {
	s := newSink(t)
	var told counter
	slow := newBad(t, answering(20*time.Millisecond, ok, told.add))
	p := at(at(mixerAt(t, s.conn.LocalAddr().String()), "stream", "http", slow.l.Addr().String()), "mixer", "osc.udp", s.conn.LocalAddr().String())
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir})
	stopAll := button(t, p, "Stop")
	presses := 0
	for ; !away(c, "stream") && presses < 3*queued; presses++ {
		for _, finger := range []string{"cover", "button"} {
			c.Press(surface.Press{Kind: surface.Down, Surface: -1, Button: stopAll, Cue: -1, By: fmt.Sprint(finger, presses)})
			c.Press(surface.Press{Kind: surface.Up, Surface: -1, Button: stopAll, Cue: -1, By: fmt.Sprint(finger, presses)})
		}
		time.Sleep(time.Millisecond)
		if presses%10 == 0 {
			c.Press(surface.Press{Kind: surface.Down, Surface: -1, Button: button(t, p, "Wide"), Cue: -1, By: fmt.Sprint("x", presses)})
		}
	}
	if !away(c, "stream") {
		t.Fatal("it was never away")
	}
	if c.View().Lamps[stopAll] != step.LampFault {
		t.Error("its button does not say so")
	}
	await(t, "it is back", func() bool { return !away(c, "stream") })
	stop(t, c)
	wait, said := 0, 0
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == journal.Outcome && p.Devices[r.A].Name == "stream" && r.Text == errAway.Error() {
			wait++
		}
		if r.Kind == journal.Alert && strings.Contains(r.Text, "messages wait for it") {
			said++
		}
		return nil
	}); err != nil || said != 1 || wait < queued-20 || wait > queued+20 {
		t.Errorf("%d were dropped, it was said %d times, %v", wait, said, err)
	}
	if n := s.count(); n != (presses+9)/10 {
		t.Errorf("the mixer was told %d of %d", n, (presses+9)/10)
	}
	replays(t, dir)
}

// BenchmarkPressBesideBadDevice is how long the mixer waits for a press while
// another device misbehaves, against the same with a recorder that is well.
func BenchmarkPressBesideBadDevice(b *testing.B) {
	var f flooding
	garbage := bytes.Repeat([]byte{0xa5, 0xc0, 0x00, 0xdb}, 16<<10)
	for b.Loop() {
		_, well := besideDevice(b, "well", func(c net.Conn) { _, _ = io.Copy(io.Discard, c) })
		for name, do := range map[string]func(net.Conn){
			"resets": func(c net.Conn) { _ = c.(*net.TCPConn).SetLinger(0) },
			"floods": f.stream(toAndFro(b, slip), nil), "garbage": f.stream(garbage, nil),
		} {
			_, bad := besideDevice(b, name, do)
			b.ReportMetric(bad/well, name+"-p99-ratio")
		}
	}
}

func besideDevice(b *testing.B, name string, do func(net.Conn)) (p50, p99 float64) {
	mixer := local(b)
	p := at(at(mixerAt(b, mixer.LocalAddr().String()), "iso", "osc.slip", newBad(b, do).l.Addr().String()), "mixer", "osc.udp", mixer.LocalAddr().String())
	p.Observations = compiled(b).Observations
	c := start(b, p, Options{Dir: b.TempDir()})
	defer stop(b, c)
	time.Sleep(500 * time.Millisecond)
	wide, buf := button(b, p, "Wide"), make([]byte, 2048)
	var all []time.Duration
	for n := range 1000 {
		x := surface.Press{Kind: surface.Down, Surface: -1, Button: wide, Cue: -1, By: fmt.Sprint(n)}
		began := time.Now()
		c.Press(x)
		if _, err := mixer.Read(buf); err != nil {
			b.Fatal(err)
		}
		all = append(all, time.Since(began))
		x.Kind = surface.Up
		c.Press(x)
		time.Sleep(time.Millisecond)
	}
	return quantiles(b, name, all)
}
