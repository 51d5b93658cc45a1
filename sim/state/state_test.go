package state

import (
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
)

// Every variable keeps its own value, whatever is set in whichever order.
func TestVariablesDoNotTouchEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.Uint32Range(1, 1<<20), 1, 60).Draw(t, "sizes")
		p := &program.Program{Timers: make([]program.Timer, 3)}
		for _, size := range sizes {
			p.Vars = append(p.Vars, program.Var{Size: size, Start: rapid.Uint32Range(0, size-1).Draw(t, "start")})
		}
		l := NewLayout(p)
		s := l.Start(p)
		want := make([]uint32, len(sizes))
		for i, v := range p.Vars {
			want[i] = v.Start
		}
		for range 50 {
			v := rapid.IntRange(0, len(sizes)-1).Draw(t, "variable")
			want[v] = rapid.Uint32Range(0, sizes[v]-1).Draw(t, "value")
			l.Set(s, int32(v), want[v])
			for i := range want {
				if got := l.Get(s, int32(i)); got != want[i] {
					t.Fatalf("after setting %d, variable %d is %d, want %d", v, i, got, want[i])
				}
			}
		}
		c := s.Clone()
		if !c.Equal(s) {
			t.Fatal("a clone is equal")
		}
		c.Now++
		if c.Equal(s) {
			t.Fatal("a clone shares nothing")
		}
		c.CopyFrom(s)
		if !c.Equal(s) {
			t.Fatal("a copy is equal")
		}
	})
}

func TestNextTimer(t *testing.T) {
	s := &State{Due: []int64{Off, 30, 20, 20, Off}}
	if timer, due := s.Next(); timer != 2 || due != 20 {
		t.Errorf("Next = %d at %d, want the first of those due at 20", timer, due)
	}
	s = &State{Due: []int64{Off, Off}}
	if timer, due := s.Next(); timer != -1 || due != Off {
		t.Errorf("Next = %d at %d, want none", timer, due)
	}
}

// A variable of one value takes no bits, and six of 11 bits do not straddle.
func TestLayout(t *testing.T) {
	p := &program.Program{Vars: []program.Var{{Size: 1}}}
	for range 6 {
		p.Vars = append(p.Vars, program.Var{Size: 2000})
	}
	l := NewLayout(p)
	if l.Words() != 2 {
		t.Errorf("six times 11 bits take %d words, want 2", l.Words())
	}
	if _, _, mask := l.Bits(0); mask != 0 {
		t.Errorf("mask of a single value is %x", mask)
	}
	if word, shift, mask := l.Bits(6); word != 1 || shift != 0 || mask != 1<<11-1 {
		t.Errorf("the sixth is at word %d shift %d mask %x", word, shift, mask)
	}
}
