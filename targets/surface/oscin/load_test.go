package oscin

import (
	"testing"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// TestLoad: what each message asks of the desk, and its answer.
func TestLoad(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	b := newBoard(t, serve(t, d, Config{}, patience))
	for _, c := range []struct {
		path string
		args []osc.Arg
		want surface.Load
		said string
	}{
		{"/show/load", nil, surface.Load{}, `"done" "program digest-of-Sm runs" 0`},
		{"/show/load", []osc.Arg{osc.Int32(1)}, surface.Load{}, `"done" "program digest-of-Sm runs" 1`},
		{"/show/load", []osc.Arg{osc.String("0123456789ab"), osc.Int32(2)}, surface.Load{Expect: "0123456789ab"}, `"refused" "the file is another show than was expected" 2`},
		{"/show/trial", nil, surface.Load{Trial: time.Minute}, `"done" "program digest-of-Sm runs" 0`},
		{"/show/trial", []osc.Arg{osc.Int32(0)}, surface.Load{Trial: time.Minute}, `"done" "program digest-of-Sm runs" 0`},
		{"/show/trial", []osc.Arg{osc.Int32(90), osc.String(""), osc.Int64(3)}, surface.Load{Trial: 90 * time.Second}, `"done" "program digest-of-Sm runs" 3`},
		{"/show/trial", []osc.Arg{osc.Int32(5), osc.Int64(4)}, surface.Load{Trial: 5 * time.Second}, `"done" "program digest-of-Sm runs" 4`},
	} {
		b.say(c.path, c.args...)
		if got := b.hears("/answer"); got != "/answer "+c.said {
			t.Errorf("%s %v: %s, want %s", c.path, c.args, got, c.said)
		}
		all := d.Loads()
		got := all[len(all)-1]
		if got.By == "" {
			t.Error("nobody asked for it")
		}
		got.By = ""
		if got != c.want {
			t.Errorf("%s %v: %+v, want %+v", c.path, c.args, got, c.want)
		}
	}
	n := len(d.Loads())
	b.say("/show/trial", osc.Int32(5), osc.Int64(4))
	if got := b.hears("/answer"); got != `/answer "repeated" "it came twice" 4` || len(d.Loads()) != n {
		t.Errorf("twice: %s, %d loads", got, len(d.Loads())-n)
	}
}

// TestTrialIsTold: the seconds that are left and what would be sent, to all; one
// message keeps it.
func TestTrialIsTold(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{}, patience)
	b, other := newBoard(t, s), newBoard(t, s)
	for _, x := range []*board{b, other} {
		x.say("/watch")
		x.hears(`/trial 0 "" ""`)
	}
	b.say("/show/trial", osc.Int32(7))
	for _, x := range []*board{b, other} {
		x.hears(`/trial 7 "osc 127.0.0.1:`)
		x.hears(`/trial 6 "osc 127.0.0.1:`)
	}
	other.say("/show/keep")
	for _, x := range []*board{b, other} {
		x.hears(`/trial 0 "" ""`)
	}
	other.say("/show/return")
	if got := other.hears(`/answer "ref`); got != `/answer "refused" "no show is on trial" 0` {
		t.Error(got)
	}
}

// TestTakeOver: only the taker's fingers count; who has it is told to all; a
// taker that hangs up has given it back.
func TestTakeOver(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Wire: "osc.tcp"}, patience)
	b, taker := newBoard(t, s), newBoard(t, s)
	b.say("/watch")
	b.hears(`/holder/desk ""`)
	taker.say("/surface/desk/take")
	taker.hears(`/answer "done"`)
	b.hears(`/holder/desk "osc 127.0.0.1:`)
	b.say("/finger/desk/1/1", osc.Int32(1))
	b.hears(`/answer "refused" "desk has been taken over by osc 127.0.0.1:`)
	b.say("/everything/stop")
	b.hears(`/answer "done"`)
	b.say("/surface/moon/take")
	b.hears(`/answer "refused" "there is no surface of that name"`)
	taker.say("/finger/desk/1/1", osc.Int32(1))
	taker.hears(`/answer "done"`)
	_ = taker.to.Close()
	b.hears(`/holder/desk ""`)
	b.say("/surface/desk/take")
	b.hears(`/holder/desk "osc 127.0.0.1:`)
	b.say("/surface/desk/give")
	b.hears(`/holder/desk ""`)
}
