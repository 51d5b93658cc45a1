package control

import (
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// mixer is a mixer that a hand is on: it says only what a test lets it say.
type mixer struct {
	*sink
	t *testing.T
}

// says sends the program of the main bank to whoever has sent to it.
func (m *mixer) says(c *Controller, number int32) {
	packet, err := osc.AppendMessage(nil, "/bank/1/program", osc.Int32(number))
	if err != nil {
		m.t.Fatal(err)
	}
	var peer string
	look(c, func(s *show) {
		for _, l := range s.lines {
			if l != nil && l.device.Name == "mixer" {
				peer = l.link.(*peekLink).local()
			}
		}
	})
	at, err := net.ResolveUDPAddr("udp", peer)
	if err != nil {
		m.t.Fatal(err)
	}
	if _, err := m.conn.WriteToUDP(packet, at); err != nil {
		m.t.Fatal(err)
	}
}

// peekLink is an OSC link over UDP whose own address can be asked for.
type peekLink struct {
	link
	conn *net.UDPConn
	done chan struct{}
}

func (l *peekLink) local() string { return l.conn.LocalAddr().String() }

func (l *peekLink) close() {
	l.conn.Close()
	<-l.done
	l.link.close()
}

// peek dials as dialler does, and hears on a socket of its own.
func peek(d program.Device, heard osc.Handler, lost func()) (link, error) {
	l, err := dialler(credentials, false)(d, heard, lost)
	if err != nil || d.Wire != "osc.udp" {
		return l, err
	}
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		return nil, err
	}
	p := &peekLink{l, conn, make(chan struct{})}
	go func() {
		defer close(p.done)
		buf := make([]byte, 2048)
		for {
			n, err := conn.Read(buf)
			if err != nil {
				return
			}
			heard(buf[:n], osc.From{})
		}
	}()
	return p, nil
}

func drifted(c *Controller) string {
	v := c.View()
	var names []string
	for _, x := range v.Drifted {
		names = append(names, v.Program.Vars[x].Name)
	}
	return strings.Join(names, " ")
}

// Somebody turns the mixer by hand: it is shown and said, nothing is corrected,
// and one press sends again what should be there.
func TestDrift(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	dir := t.TempDir()
	p = at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String())
	c := start(t, p, Options{Dir: dir, dial: peek})
	wide := button(t, p, "Wide")

	m.says(c, 2)
	await(t, "before anything was cut, the mixer is believed", func() bool {
		var is uint32
		look(c, func(s *show) { is = s.m.L.Get(s.state, p.Banks[0].Program) })
		return p.Banks[0].Picks[is].Number == 2
	})
	if drifted(c) != "" {
		t.Errorf("what was never set has drifted: %s", drifted(c))
	}

	went(t, tap(t, c, wide))
	m.says(c, 2) // what it showed before: it has not got round to it yet
	time.Sleep(50 * time.Millisecond)
	if drifted(c) != "" {
		t.Error("old news is taken for drift")
	}
	m.says(c, 1)
	time.Sleep(time.Duration(settling)*time.Microsecond + 50*time.Millisecond)
	if drifted(c) != "" {
		t.Error("it does what it was told, and has drifted")
	}

	sent := m.count()
	m.says(c, 2)
	await(t, "it has drifted", func() bool { return drifted(c) == "main.program" })
	if text := fmt.Sprint(c.View().Alerts); !strings.Contains(text, "main.program is goal, and was set to wide: somebody else has changed it") {
		t.Errorf("alerts: %s", text)
	}
	time.Sleep(50 * time.Millisecond)
	if m.count() != sent {
		t.Error("it was corrected by itself")
	}
	web := int32(-1)
	for i, d := range p.Destinations {
		if d.Name == "web" {
			web = int32(i)
		}
	}
	went(t, c.Press(surface.Press{Kind: surface.Resend, Surface: -1, Destination: web, By: "test"}))
	await(t, "the cut is sent again", func() bool { return m.count() == sent+1 })
	m.says(c, 1)
	await(t, "all is as it should be", func() bool { return drifted(c) == "" })
	stop(t, c)
	replays(t, dir)
}

// The last word of a device is believed in the end, though it came early.
func TestLastWord(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	p = at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String())
	c := start(t, p, Options{dial: peek})
	went(t, tap(t, c, button(t, p, "Wide")))
	m.says(c, 2)
	await(t, "it has drifted after all", func() bool { return drifted(c) == "main.program" })
	stop(t, c)
}
