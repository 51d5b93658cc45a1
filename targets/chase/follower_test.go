package chase

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/timecode"
	"cuewright/targets/midiwire"
)

// tape is a machine that sends MIDI Time Code, and a follower that hears it.
type tape struct {
	kind    byte
	quarter int64 // that is sent next
	at      time.Duration
	speed   float64
	f       Follower
	told    []Move
}

func newTape(kind byte, label string) *tape {
	frame, err := rates[kind].ParseLabel(label)
	if err != nil {
		panic(err)
	}
	return &tape{kind: kind, quarter: 4 * frame, speed: 1}
}

// piece is the quarter frame to be sent at a quarter of the day: of the time of
// the frame in which piece 0 was sent.
func (p *tape) piece(quarter int64, begun int64) midiwire.Message {
	n := wrap(quarter-begun, day(p.kind)) % 8
	of := wrap(quarter-n, day(p.kind)) / 4
	label := rates[p.kind].Label(of)
	var h, m, s, f byte
	_, _ = fmt.Sscanf(strings.Replace(label, ";", ":", 1), "%d:%d:%d:%d", &h, &m, &s, &f)
	values := [8]byte{f & 15, f >> 4, s & 15, s >> 4, m & 15, m >> 4, h & 15, h>>4 | p.kind<<1}
	return midiwire.Message{Kind: midiwire.Quarter, Piece: byte(n)<<4 | values[n]}
}

// run sends n quarter frames, forwards or backwards, with the first time
// beginning at the frame begun of the day.
func (p *tape) run(n int, turned int64) {
	r := rates[p.kind]
	begun := p.quarter / 4 * 4
	for range n {
		p.hear(p.piece(p.quarter, begun))
		p.quarter = wrap(p.quarter+turned, day(p.kind))
		p.at += time.Duration(float64(time.Second) * float64(r.Den) / float64(4*r.Num) / p.speed)
	}
}

// frames runs forwards through whole frames.
func (p *tape) frames(n int) { p.run(4*n, 1) }

func (p *tape) hear(m midiwire.Message) {
	if move, ok := p.f.Hear(m, p.at); ok {
		p.told = append(p.told, move)
	}
}

// silence lets time pass without a word.
func (p *tape) silence(d time.Duration) {
	for end := p.at + d; p.at < end; p.at += 10 * time.Millisecond {
		if move, ok := p.f.Tick(p.at); ok {
			p.told = append(p.told, move)
		}
	}
}

func (p *tape) full(label string) {
	frame, err := rates[p.kind].ParseLabel(label)
	if err != nil {
		panic(err)
	}
	p.quarter = 4 * frame
	var h, m, s, f byte
	_, _ = fmt.Sscanf(strings.Replace(label, ";", ":", 1), "%d:%d:%d:%d", &h, &m, &s, &f)
	p.hear(midiwire.Message{Kind: midiwire.Full, Time: [4]byte{h | p.kind<<5, m, s, f}})
}

// ran are the frames that were said to have been run through, in order.
func ran(told []Move) []int64 {
	var all []int64
	for _, m := range told {
		for n := m.Ran - 1; n >= 0; n-- {
			all = append(all, wrap(m.Frame-n, m.Rate.FramesPerDay()))
		}
	}
	return all
}

func from(first int64, n int) []int64 {
	var all []int64
	for i := range n {
		all = append(all, first+int64(i))
	}
	return all
}

func last(told []Move) Move { return told[len(told)-1] }

// The vectors are of the project's notes on standards, agreed with mido:
// 01:37:52:16 at each rate, and the last frame of a drop-frame day.
func TestVectors(t *testing.T) {
	for _, c := range []struct{ name, bytes, want string }{
		{"quarter frames at 24", "F100F111F124F133F145F152F161F170", "locked 01:37:52:17 at 24, ran 2"},
		{"quarter frames at 25", "F100F111F124F133F145F152F161F172", "locked 01:37:52:17 at 25, ran 2"},
		{"quarter frames, drop-frame", "F100F111F124F133F145F152F161F174", "locked 01:37:52;17 at 29.97df, ran 2"},
		{"quarter frames at 30", "F100F111F124F133F145F152F161F176", "locked 01:37:52:17 at 30, ran 2"},
		{"the end of a drop-frame day", "F10DF111F12BF133F14BF153F167F175", "locked 00:00:00;00 at 29.97df, ran 2"},
		{"full frame at 24", "F07F7F010101253410F7", "still 01:37:52:16 at 24, ran 0"},
		{"full frame at 25", "F07F7F010121253410F7", "still 01:37:52:16 at 25, ran 0"},
		{"full frame, drop-frame", "F07F7F010141253410F7", "still 01:37:52;16 at 29.97df, ran 0"},
		{"full frame at 30", "F07F7F010161253410F7", "still 01:37:52:16 at 30, ran 0"},
		{"seven pieces are not a time", "F100F111F124F133F145F152F161", ""},
		{"a number that drop-frame leaves out", "F100F110F120F130F141F150F161F174", ""},
		{"a frame that the rate does not have", "F109F111F124F133F145F152F161F172", ""},
		{"backwards", "F172F161F152F145F133F124F111F100", "locked 01:37:52:16 at 25, ran 0, backwards"},
		{"from the middle", "F145F152F161F172F102F111F124F133F145F152F161F172", "locked 01:37:52:19 at 25, ran 3"},
	} {
		data, err := hex.DecodeString(c.bytes)
		if err != nil {
			t.Fatal(err)
		}
		var d midiwire.Decoder
		var f Follower
		got := ""
		for i, b := range data {
			if m, ok := f.Hear(d.Byte(b), time.Duration(i)*5*time.Millisecond); ok {
				got = fmt.Sprintf("%s %s at %s, ran %d", m.State, m.Rate.Label(m.Frame), m.Rate, m.Ran)
				if m.Back {
					got += ", backwards"
				}
			}
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Running, every frame is said once, in order, from the first that the code
// began in, at every rate and over midnight.
func TestEveryFrameOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := byte(rapid.IntRange(0, 3).Draw(t, "rate"))
		frames := rates[kind].FramesPerDay()
		first := rapid.Int64Range(0, frames-1).Draw(t, "first")
		if rapid.Bool().Draw(t, "near midnight") {
			first = wrap(-rapid.Int64Range(0, 50).Draw(t, "before"), frames)
		}
		p := &tape{kind: kind, quarter: 4 * first, speed: rapid.Float64Range(0.5, 3).Draw(t, "speed")}
		n := rapid.IntRange(2, 100).Draw(t, "frames")
		p.frames(n)
		got := ran(p.told)
		want := from(first, n)
		for i := range want {
			want[i] = wrap(want[i], frames)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("ran through %v, want %v", got, want)
		}
		if m := last(p.told); m.State != Locked || m.Back || m.Frame != want[len(want)-1] {
			t.Fatalf("at the end %+v", m)
		}
	})
}

// What happens to a timecode, and what is said of it.
func TestTroubles(t *testing.T) {
	const start = "01:00:00:00"
	begin, _ := rates[1].ParseLabel(start)
	for _, c := range []struct {
		name  string
		do    func(*tape)
		ran   []int64 // frames after the first
		state State
		jumps []int64 // to which frames after the first
	}{
		{"it stops", func(p *tape) { p.frames(10); p.silence(2 * time.Second) }, from(0, 23), Silent, []int64{1}},
		{"a short gap while it runs on", func(p *tape) {
			p.frames(10)
			p.silence(200 * time.Millisecond)
			p.quarter += 20
			p.frames(10)
		}, from(0, 25), Locked, []int64{1}},
		{"one piece is lost", func(p *tape) {
			p.frames(10)
			p.quarter++
			p.at += 10 * time.Millisecond
			p.run(63, 1)
		}, from(0, 26), Locked, []int64{1}},
		{"a long gap", func(p *tape) {
			p.frames(10)
			p.silence(2 * time.Second)
			p.quarter += 200
			p.frames(10)
		}, slices.Concat(from(0, 23), from(60, 10)), Locked, []int64{1, 61}},
		{"a pause", func(p *tape) { // it had been taken to run on for 7 frames
			p.frames(10)
			p.silence(300 * time.Millisecond)
			p.frames(10)
		}, from(0, 20), Locked, []int64{1}},
		{"it jumps ahead", func(p *tape) { p.frames(10); p.full("01:00:10:00"); p.frames(4) },
			slices.Concat(from(0, 10), from(250, 4)), Locked, []int64{1, 250, 251}},
		{"it jumps back", func(p *tape) { p.frames(10); p.full("00:59:59:00"); p.frames(4) },
			slices.Concat(from(0, 10), from(-25, 4)), Locked, []int64{1, -25, -24}},
		{"it is moved about and stays", func(p *tape) { p.full("01:00:10:00"); p.full("01:00:20:00") }, nil, Still, []int64{250, 500}},
		{"it goes back and forth", func(p *tape) {
			p.frames(10)
			p.quarter--
			p.run(40, -1)
			p.quarter++
			p.frames(12)
		}, nil, Locked, nil},
		{"backwards it runs through nothing", func(p *tape) { p.run(80, -1) }, nil, Locked, []int64{-2}},
	} {
		p := newTape(1, start)
		c.do(p)
		got := ran(p.told)
		for i := range got {
			got[i] -= begin
		}
		var jumps []int64
		for _, m := range p.told {
			if m.Jumped {
				jumps = append(jumps, m.Frame-begin)
			}
		}
		if c.name == "it goes back and forth" { // what it says while it turns is its own affair; no frame comes twice without going back
			if m := last(p.told); m.State != Locked || m.Back {
				t.Errorf("%s: at the end %+v", c.name, m)
			}
			continue
		}
		if !slices.Equal(got, c.ran) {
			t.Errorf("%s: ran through %v, want %v", c.name, got, c.ran)
		}
		if !slices.Equal(jumps, c.jumps) {
			t.Errorf("%s: jumped to %v, want %v", c.name, jumps, c.jumps)
		}
		if m := last(p.told); m.State != c.state {
			t.Errorf("%s: at the end %+v", c.name, m)
		}
	}
}

// Whatever comes, a follower says nothing that is impossible, and never that a
// frame was run through which lies further on than time and the code allow.
func FuzzFollower(f *testing.F) {
	f.Add([]byte{0xF1, 0x00, 1, 0xF1, 0x11, 1})
	f.Add([]byte{0xF0, 0x7F, 0x7F, 0x01, 0x01, 0x21, 0x25, 0x34, 0x10, 0xF7})
	f.Fuzz(func(t *testing.T, data []byte) {
		var d midiwire.Decoder
		var f Follower
		at := time.Duration(0)
		check := func(m Move, ok bool) {
			frames := timecode.Rate(m.Rate).FramesPerDay
			switch {
			case !ok:
			case m.Rate.Num == 0 || m.Frame < 0 || m.Frame >= frames():
				t.Errorf("%x: %+v is nowhere", data, m)
			case m.Ran < 0 || m.Ran > 16+2*f.quarters(Coast), m.Ran > 0 && (m.Back || m.State == Still || m.State == Silent), m.Was >= frames():
				t.Errorf("%x: %+v", data, m)
			}
		}
		for _, b := range data {
			check(f.Hear(d.Byte(b), at))
			at += time.Duration(b) * time.Millisecond
			check(f.Tick(at))
		}
	})
}
