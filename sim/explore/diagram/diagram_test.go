package diagram

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// model is a set as a list of its states, in order.
type model map[string][]uint32

func (m model) add(values []uint32) { m[fmt.Sprint(values)] = values }

// pair is a set and what it should be.
type pair struct {
	set  Set
	want model
}

func anyState(t *rapid.T, sizes []uint32) []uint32 {
	values := make([]uint32, len(sizes))
	for i, n := range sizes {
		values[i] = rapid.Uint32Range(0, n-1).Draw(t, "value")
	}
	return values
}

// All operations do what they do with plain sets, and equal sets are the same.
func TestOperationsArePlainSets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.Uint32Range(1, 4), 1, 6).Draw(t, "sizes")
		d := New(sizes)
		pairs := []pair{{None, model{}}}
		which := func(name string) pair { return rapid.SampledFrom(pairs).Draw(t, name) }
		for range rapid.IntRange(1, 60).Draw(t, "operations") {
			next := pair{want: model{}}
			switch rapid.IntRange(0, 4).Draw(t, "operation") {
			case 0:
				s := anyState(t, sizes)
				next.set = d.Single(s)
				next.want.add(s)
			case 1:
				a, b := which("a"), which("b")
				next.set = d.Union(a.set, b.set)
				for _, m := range []model{a.want, b.want} {
					for _, s := range m {
						next.want.add(s)
					}
				}
			case 2:
				a, b := which("a"), which("b")
				next.set = d.Meet(a.set, b.set)
				for k, s := range a.want {
					if b.want[k] != nil {
						next.want.add(s)
					}
				}
			case 3:
				a := which("a")
				level := rapid.IntRange(0, len(sizes)-1).Draw(t, "level")
				value := rapid.Uint32Range(0, sizes[level]-1).Draw(t, "value")
				next.set = d.Select(a.set, level, value)
				for _, s := range a.want {
					if s[level] == value {
						next.want.add(s)
					}
				}
			default:
				a, to := which("a"), anyState(t, sizes)
				var values []Value
				for level := range sizes {
					if rapid.Bool().Draw(t, "written") {
						values = append(values, Value{level, to[level]})
					}
				}
				next.set = d.Write(a.set, d.Writing(values))
				for _, s := range a.want {
					s = slices.Clone(s)
					for _, v := range values {
						s[v.Level] = v.Value
					}
					next.want.add(s)
				}
			}
			compare(t, d, next, sizes)
			for _, p := range pairs {
				if equal := fmt.Sprint(p.want) == fmt.Sprint(next.want); equal != (p.set == next.set) {
					t.Fatalf("%v and %v are the same set: %v", p.want, next.want, !equal)
				}
			}
			pairs = append(pairs, next)
		}
	})
}

func (d *Diagram) has(s Set, values []uint32) bool { return d.Meet(s, d.Single(values)) != None }

func compare(t *rapid.T, d *Diagram, p pair, sizes []uint32) {
	if n := d.Count(p.set); n != uint64(len(p.want)) {
		t.Fatalf("%d states, want %v", n, p.want)
	}
	for _, s := range p.want {
		if !d.has(p.set, s) {
			t.Fatalf("%v is missing", s)
		}
	}
	if s := anyState(t, sizes); d.has(p.set, s) != (p.want[fmt.Sprint(s)] != nil) {
		t.Fatalf("%v is in it: %v", s, d.has(p.set, s))
	}
	if len(p.want) == 0 {
		return
	}
	first := make([]uint32, len(sizes))
	d.First(p.set, first)
	for _, s := range p.want {
		if slices.Compare(s, first) < 0 {
			t.Fatalf("the first is %v, and there is %v", first, s)
		}
	}
	if p.want[fmt.Sprint(first)] == nil {
		t.Fatalf("the first, %v, is not in it", first)
	}
}

// A set of parts that do not depend on each other needs as many nodes as the
// parts, and memory and counting hold for more states than there are numbers.
func TestPartsLieSideBySide(t *testing.T) {
	sizes := make([]uint32, 60)
	for i := range sizes {
		sizes[i] = 5
	}
	d := New(sizes)
	s := d.Single(make([]uint32, len(sizes)))
	for level := range sizes {
		for value := range sizes[level] {
			s = d.Union(s, d.Write(s, d.Writing([]Value{{level, value}})))
		}
	}
	if n := d.Count(s); n != math.MaxUint64 {
		t.Errorf("%d states", n)
	}
	if n := d.Count(d.Select(d.Select(s, 0, 3), 59, 4)); n != math.MaxUint64 {
		t.Errorf("%d states of those", n)
	}
	nodes := map[Set]bool{}
	var visit func(s Set)
	visit = func(s Set) {
		if s > unit && !nodes[s] {
			nodes[s] = true
			for _, k := range d.branches(s) {
				visit(k)
			}
		}
	}
	visit(s)
	if len(nodes) != len(sizes) {
		t.Errorf("%d nodes for %d parts", len(nodes), len(sizes))
	}
}
