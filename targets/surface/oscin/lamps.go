package oscin

import (
	"strconv"
	"strings"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// maxBundle is the most bytes of messages that are told together: with the
// heads of a bundle, UDP and IP they fit into one Ethernet frame.
const maxBundle = 1200

// told is what a peer was told last: the packet of each address.
type told struct {
	packets map[string]string
	alert   surface.Alert // the latest
}

// tell tells the peer what changes, until it is gone.
func (p *peer) tell() {
	defer p.hand.Leave()
	changed, stop := p.s.desk.Watch()
	defer stop()
	alive := time.NewTicker(min(aliveEvery, p.s.patience))
	defer alive.Stop()
	var last told
	var full time.Time
	for {
		select {
		case <-p.gone:
			return
		case <-changed:
		case <-p.again:
			last = told{}
		case <-alive.C:
			p.s.silent(p, false)
			if p.s.receiverIsUDP() && time.Since(full) > p.s.patience/refreshes {
				last = told{alert: last.alert}
			}
			p.alive()
		}
		if last.packets == nil {
			full = time.Now()
		}
		p.changes(&last)
	}
}

func (s *Surface) receiverIsUDP() bool { return s.Wire != "osc.tcp" && s.Wire != "osc.slip" }

// wants is what the peer subscribed to.
func (p *peer) wants() (only string, quiet bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.watches, p.quiet
}

func (p *peer) alive() {
	v := p.s.desk.View()
	if _, quiet := p.wants(); quiet {
		return
	}
	age := min(max(time.Since(v.At), 0), time.Hour)
	packet, err := osc.AppendMessage(nil, "/alive", osc.Int64(int64(v.Serial)), osc.Int32(int32(age.Milliseconds())))
	if err == nil {
		p.send(packet)
	}
}

func (p *peer) send(packet []byte) {
	if p.from.Reply(packet) != nil {
		p.s.silent(p, true)
	}
}

// changes tells what is not as it was told last.
func (p *peer) changes(last *told) {
	only, quiet := p.wants()
	if quiet {
		return
	}
	v := p.s.desk.View()
	if last.packets == nil {
		last.packets = map[string]string{}
	}
	var out [][]byte
	size := 0
	flush := func() {
		switch len(out) {
		case 0:
			return
		case 1:
			p.send(out[0])
		default:
			if b, err := osc.AppendBundle(nil, osc.Immediately, out...); err == nil {
				p.send(b)
			}
		}
		out, size = nil, 0
	}
	add := func(packet []byte) {
		if size > 0 && size+len(packet)+4 > maxBundle {
			flush()
		}
		out, size = append(out, packet), size+len(packet)+4
	}
	picture(v, only, func(address string, args ...osc.Arg) {
		packet, err := osc.AppendMessage(nil, address, args...)
		if err == nil && last.packets[address] != string(packet) {
			last.packets[address] = string(packet)
			add(packet)
		}
	})
	for _, a := range v.AlertsAfter(last.alert) {
		if packet, err := osc.AppendMessage(nil, "/alert", osc.String(clean(a.Text)), osc.Time(osc.TimeTagOf(a.At))); err == nil {
			add(packet)
		}
		last.alert = a
	}
	flush()
}

// picture gives each address and what it says now, the surfaces' own only of
// one surface when only is not empty. Every place of a grid is told, so that
// a page with fewer buttons clears the rest.
func picture(v *surface.View, only string, say func(address string, args ...osc.Arg)) {
	if v.Pair != nil {
		say("/pair", osc.String(v.Pair.Seat), osc.Bool(v.Pair.Leads), osc.Bool(v.Pair.Sends), osc.Int64(int64(v.Pair.Epoch)), osc.String(v.Pair.Words()))
	}
	say("/show", osc.String(clean(v.Show)), osc.String(v.Running), osc.String(v.OnDisk), osc.Bool(v.Held))
	trial(v.Trial, say)
	number, label := v.StandbyCue()
	say("/standby", osc.String(clean(number)), osc.String(clean(label)))
	byItself(v, say)
	var names []osc.Arg
	for _, d := range v.Away {
		names = append(names, osc.String(v.Program.Devices[d].Name))
	}
	say("/away", names...)
	names = nil
	for _, x := range v.Drifted {
		names = append(names, osc.String(v.Program.Vars[x].Name))
	}
	say("/drifted", names...)
	for i := range v.Program.Surfaces {
		if name := v.Program.Surfaces[i].Name; only == "" || only == name {
			grid(v, int32(i), say)
		}
	}
}

// trial tells the seconds that are left, who began it, what comes back and what
// would then be sent.
func trial(t *surface.Trial, say func(address string, args ...osc.Arg)) {
	if t == nil {
		say("/trial", osc.Int32(0), osc.String(""), osc.String(""))
		return
	}
	args := []osc.Arg{osc.Int32(int32(t.Left(time.Now()))), osc.String(clean(t.By)), osc.String(t.Before)}
	for _, text := range t.Returns {
		args = append(args, osc.String(clean(text)))
	}
	say("/trial", args...)
}

// byItself tells what fires by the clock and the timecode.
func byItself(v *surface.View, say func(address string, args ...osc.Arg)) {
	cue := func(i int32) (number, label, at osc.Arg) {
		if i < 0 {
			return osc.String(""), osc.String(""), osc.String("")
		}
		q := &v.Program.Cues[i]
		return osc.String(clean(q.Number)), osc.String(clean(q.Label)), osc.String(v.MomentOf(i))
	}
	next, left := int32(-1), time.Duration(0)
	if v.Clock != nil {
		next, left = v.Clock.Cue, v.Clock.Left(time.Now())
	}
	number, label, at := cue(next)
	say("/clock", number, label, at, osc.Int32(int32(left/time.Second)))
	number, label, at = cue(v.Code.Next)
	say("/timecode", osc.String(v.Code.State), osc.String(v.Code.Label), osc.Bool(v.Code.Back), number, label, at)
	var off []osc.Arg
	for _, number := range v.DisarmedNumbers() {
		off = append(off, osc.String(clean(number)))
	}
	say("/disarmed", off...)
}

// grid tells the page and every place of a surface.
func grid(v *surface.View, at int32, say func(address string, args ...osc.Arg)) {
	s := &v.Program.Surfaces[at]
	say("/page/"+s.Name, osc.String(clean(v.PageName(at))))
	say("/holder/"+s.Name, osc.String(clean(v.Holder[at])))
	for i, b := range v.Grid(at) {
		row, column := i/int(s.Columns)+1, i%int(s.Columns)+1
		label, lamp, cover := "", "dark", "none"
		if b >= 0 {
			label, lamp, cover = clean(v.Program.Buttons[b].Label), v.Lamps[b].String(), v.Cover(b)
		}
		say("/lamp/"+s.Name+"/"+strconv.Itoa(row)+"/"+strconv.Itoa(column), osc.String(label), osc.String(lamp), osc.String(cover))
	}
}

// clean makes a text one that OSC can carry.
func clean(text string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\uFFFD"), "\x00", " ")
}
