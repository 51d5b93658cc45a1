package observe

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/targets/osc"
)

// The variables of the tests, in their order.
const (
	program1 = iota
	preset1
	rolling
	deckState
	health
)

func small() *program.Program {
	picks := []program.Meaning{{Heard: "1", Value: 0}, {Heard: "2", Value: 1}, {Heard: "100", Value: 2}}
	deck := []program.Meaning{{Heard: "idle", Value: 0}, {Heard: "ready", Value: 2}, {Heard: "run", Value: 3}}
	return &program.Program{
		Vars: []program.Var{{Name: "main.program", Size: 3}, {Name: "main.preset", Size: 3}, {Name: "iso.state", Size: 3},
			{Name: "deck.state", Size: 6}, {Name: "deck.health", Size: 5}},
		Devices: []program.Device{{Name: "mixer"}, {Name: "deck"}},
		Observations: []program.Observation{
			{Device: 0, Path: "/bank/1/program", Arg: 0, Var: program1, Means: picks},
			{Device: 0, Path: "/bank/1/both", Arg: 0, Var: program1, Means: picks},
			{Device: 0, Path: "/bank/1/both", Arg: 1, Var: preset1, Means: picks},
			{Device: 0, Path: "/rolling", Arg: 0, Var: rolling, Means: []program.Meaning{{Heard: "0", Value: 0}, {Heard: "true", Value: 2}, {Heard: "0.50", Value: 1}}},
			{Device: 1, Method: "GET", Target: "/state", Pointer: "/transport", Var: deckState, Means: deck},
			{Device: 1, Method: "GET", Target: "/state", Pointer: "status", Var: health, Means: []program.Meaning{{Heard: "200", Value: 0}, {Heard: "503", Value: 1}}},
			{Device: 1, Method: "GET", Target: "/state", Pointer: "/list/0/on", Var: rolling, Means: []program.Meaning{{Heard: "true", Value: 2}, {Heard: "3", Value: 1}, {Heard: "null", Value: 0}}},
			{Device: 1, Method: "GET", Target: "/plain", Pointer: "body", Var: deckState, Means: deck},
			{Device: 1, Method: "GET", Target: "/wrong", Pointer: "no pointer", Var: deckState, Means: deck},
			{Device: 1, Method: "GET", Target: "/state", Pointer: "/transport", Var: program1, Means: []program.Meaning{{Heard: "ready", Value: 99}}},
		},
	}
}

func TestOSCIsHeard(t *testing.T) {
	table := New(small(), 0)
	for _, c := range []struct {
		path string
		args []osc.Arg
		want []Observed
	}{
		{"/bank/1/program", []osc.Arg{osc.Int32(2)}, []Observed{{program1, 1}}},
		{"/bank/1/program", []osc.Arg{osc.Int64(100)}, []Observed{{program1, 2}}},
		{"/bank/1/program", []osc.Arg{osc.Float32(2)}, []Observed{{program1, 1}}},
		{"/bank/1/program", []osc.Arg{osc.String("2")}, []Observed{{program1, 1}}},
		{"/bank/1/program", []osc.Arg{osc.Int32(3)}, nil},
		{"/bank/1/program", nil, nil},
		{"/bank/1/program", []osc.Arg{osc.Blob([]byte("2"))}, nil},
		{"/bank/2/program", []osc.Arg{osc.Int32(2)}, nil},
		{"/bank/1/both", []osc.Arg{osc.Int32(1), osc.Int32(2)}, []Observed{{program1, 0}, {preset1, 1}}},
		{"/bank/1/both", []osc.Arg{osc.ArrayStart(), osc.Int32(1), osc.Int32(2), osc.ArrayEnd()}, []Observed{{program1, 0}, {preset1, 1}}},
		{"/rolling", []osc.Arg{osc.Bool(true)}, []Observed{{rolling, 2}}},
		{"/rolling", []osc.Arg{osc.Float32(0.5)}, []Observed{{rolling, 1}}},
		{"/rolling", []osc.Arg{osc.Float64(0)}, []Observed{{rolling, 0}}},
		// A message's address may be a pattern (OSC 1.0).
		{"/bank/?/{program,preset}", []osc.Arg{osc.Int32(1)}, []Observed{{program1, 0}}},
		{"/*/1/*", []osc.Arg{osc.Int32(1), osc.Int32(2)}, []Observed{{program1, 0}, {program1, 0}, {preset1, 1}}},
		{"/state", []osc.Arg{osc.String("ready")}, nil},
	} {
		m := osc.Message{Path: c.path, Args: c.args}
		if got := table.Heard(m, nil); !slices.Equal(got, c.want) {
			t.Errorf("%v: got %v, want %v", m, got, c.want)
		}
		v, value, ok := table.OSC(m)
		if ok != (len(c.want) > 0) || ok && (Observed{v, value}) != c.want[0] || !ok && v != -1 {
			t.Errorf("%v: OSC gives %d, %d, %v", m, v, value, ok)
		}
	}
}

func TestHTTPIsHeard(t *testing.T) {
	table := New(small(), 1)
	for _, c := range []struct {
		target string
		status int
		body   string
		want   []Observed
	}{
		{"/state", 200, `{"transport":"ready"}`, []Observed{{deckState, 2}, {health, 0}}},
		{"/state", 200, `{"transport":"run","list":[{"on":true}]}`, []Observed{{deckState, 3}, {health, 0}, {rolling, 2}}},
		{"/state", 200, `{"list":[{"on":3.0}]}`, []Observed{{health, 0}, {rolling, 1}}},
		{"/state", 200, `{"list":[{"on":30e-1}]}`, []Observed{{health, 0}, {rolling, 1}}},
		{"/state", 200, `{"list":[{"on":null}]}`, []Observed{{health, 0}, {rolling, 0}}},
		{"/state", 200, `{"list":[{"on":"3"}]}`, []Observed{{health, 0}, {rolling, 1}}},
		{"/state", 200, `{"list":[{"on":[3]}]}`, []Observed{{health, 0}}},
		{"/state", 200, `{"transport":"broken"}`, []Observed{{health, 0}}},
		{"/state", 200, `{"transport":"ready"} x`, []Observed{{health, 0}}},
		{"/state", 200, `{"transport":"rea`, []Observed{{health, 0}}},
		{"/state", 200, "", []Observed{{health, 0}}},
		{"/state", 503, `{"transport":"ready"}`, []Observed{{health, 1}}},
		{"/state", 404, `{"transport":"ready"}`, nil},
		{"/plain", 200, " run\r\n", []Observed{{deckState, 3}}},
		{"/plain", 500, "run", nil},
		{"/wrong", 200, `{"no pointer":"run"}`, nil},
		{"/other", 200, `{"transport":"ready"}`, nil},
	} {
		if got := table.HTTP("GET", c.target, c.status, []byte(c.body)); !slices.Equal(got, c.want) {
			t.Errorf("%s %d %s: got %v, want %v", c.target, c.status, c.body, got, c.want)
		}
	}
	if got := table.HTTP("POST", "/state", 200, []byte(`{"transport":"ready"}`)); got != nil {
		t.Errorf("another method: got %v", got)
	}
}

func TestTextForms(t *testing.T) {
	for want, args := range map[string][]osc.Arg{
		"3":      {osc.Int32(3), osc.Int64(3), osc.Float32(3), osc.Float64(3), osc.String("3"), osc.Symbol("3"), osc.Char('3')},
		"0.1":    {osc.Float32(0.1), osc.Float64(0.1)},
		"-0.25":  {osc.Float32(-0.25)},
		"0":      {osc.Float32(float32(negativeZero())), osc.Int32(0)},
		"100000": {osc.Float32(1e5)},
		"true":   {osc.Bool(true)},
		"false":  {osc.Bool(false)},
		"null":   {osc.Null()},
		"NaN":    {osc.Float64(nan())},
	} {
		for _, a := range args {
			if got, ok := ArgText(a); !ok || got != want {
				t.Errorf("%c %v is %q, want %q", a.Tag, a, got, want)
			}
		}
	}
	for _, a := range []osc.Arg{osc.Blob(nil), osc.Time(1), osc.Colour(1), osc.MIDI(1, 2, 3, 4), osc.Infinitum(), osc.ArrayStart()} {
		if got, ok := ArgText(a); ok {
			t.Errorf("%v is %q", a, got)
		}
	}
	for text, want := range map[string]string{"3": "3", "3.0": "3", "3e2": "300", "-0": "0", "-0.0": "0", "0.50": "0.5", "1E-2": "0.01",
		"12345678901234567890": "12345678901234567890", "1e400": "1e400"} {
		if got := jsonNumber(text); got != want {
			t.Errorf("%s is %s, want %s", text, got, want)
		}
	}
}

func negativeZero() float64 { zero := 0.0; return -zero }

func nan() float64 { zero := 0.0; return zero / zero }

func TestHearingOSCDoesNotAllocate(t *testing.T) {
	table := New(small(), 0)
	m := osc.Message{Path: "/bank/1/program", Args: []osc.Arg{osc.Int32(2)}}
	into := make([]Observed, 0, 4)
	if n := testing.AllocsPerRun(100, func() { into = table.Heard(m, into[:0]) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// Whatever is heard, only values that a variable can have come out.
func FuzzObserve(f *testing.F) {
	packet, _ := osc.AppendMessage(nil, "/bank/1/both", osc.Int32(1), osc.Float32(2))
	f.Add(packet, 200)
	f.Add([]byte(`{"transport":"ready","list":[{"on":true}]}`), 200)
	f.Add([]byte(strings.Repeat("[", 20000)), 200)
	p := small()
	f.Fuzz(func(t *testing.T, heard []byte, status int) {
		var got []Observed
		if m, err := osc.Decode(heard); err == nil {
			osc.Each(m, func(m osc.Message) { got = New(p, 0).Heard(m, got) })
		}
		for _, target := range []string{"/state", "/plain", "/wrong"} {
			got = append(got, New(p, 1).HTTP("GET", target, status, heard)...)
		}
		for _, o := range got {
			if o.Var < 0 || int(o.Var) >= len(p.Vars) || o.Value >= p.Vars[o.Var].Size {
				t.Fatalf("%v out of %q", o, heard)
			}
		}
	})
}

func BenchmarkHeard(b *testing.B) {
	table := New(small(), 0)
	m := osc.Message{Path: "/bank/1/program", Args: []osc.Arg{osc.Int32(2)}}
	into := make([]Observed, 0, 4)
	b.ReportAllocs()
	for b.Loop() {
		into = table.Heard(m, into[:0])
	}
}

func ExampleTable_HTTP() {
	table := New(small(), 1)
	fmt.Println(table.HTTP("GET", "/state", 200, []byte(`{"transport":"ready"}`)))
	// Output: [{3 2} {4 0}]
}
