package prove

import (
	"os"
	"testing"
	"time"

	"cuewright/sim/simtest"
)

func TestDemoProbe(t *testing.T) {
	dir := os.Getenv("PROBE")
	if dir == "" {
		t.Skip()
	}
	show, _ := os.ReadFile(dir + ".show")
	rack, err := os.ReadFile(os.Getenv("RACK"))
	if err != nil {
		t.Fatal(err)
	}
	p := simtest.Compile(t, string(show), string(rack))
	begin := time.Now()
	last := time.Now()
	r := Show(p, Options{Workers: 2, Bytes: 4 << 30, States: 300_000, Progress: func(g Progress) bool {
		if time.Since(last) > 5*time.Second {
			last = time.Now()
			t.Logf("%v %s %d/%d states %d timed %v", time.Since(begin), g.Question, g.Done, g.Of, g.States, g.Timed)
		}
		return time.Since(begin) < 100*time.Second
	}})
	for _, a := range r.Answers {
		t.Logf("%-28s %-30s %s %s  [%d buttons %d cues %d states %d presses]", a.Code, a.Name, a.Verdict, a.Note, a.Buttons, a.Cues, a.States, a.Presses)
	}
	for _, f := range r.Findings {
		t.Logf("%s %s: %s", f.Place, f.Code, f.What)
		for _, b := range f.Story {
			t.Logf("     %s %s", b.Time, b.Title)
		}
		t.Logf("   => %s", f.Last)
		t.Logf("   more %q %v", f.More, f.Others)
		s, ok := f.Rehearsal(p, "x", "")
		t.Log(ok, s)
	}
	t.Logf("unknown %q", r.Unknown)
	t.Log(time.Since(begin))
}
