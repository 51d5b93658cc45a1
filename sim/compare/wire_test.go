package compare_test

import (
	"io/fs"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/compare"
	"cuewright/targets/prepare"
)

// rendered prepares the small show with an edit of its plan, with messages.
func rendered(t *testing.T, pairs ...string) *program.Program {
	t.Helper()
	files := map[string]string{"small.show": read(t, "small/small.show"), "rack.yaml": edit(t, read(t, "small/rack.yaml"), pairs...)}
	r := prepare.Show("small.show", func(name string) ([]byte, error) {
		if text, ok := files[name]; ok {
			return []byte(text), nil
		}
		return nil, fs.ErrNotExist
	})
	if r.Program == nil {
		t.Fatalf("%+v", r.Findings)
	}
	return r.Program
}

// TestMessages: a device that is told the same in other bytes, or elsewhere,
// or heard otherwise, is told once, with what differs.
func TestMessages(t *testing.T) {
	for _, c := range []struct{ old, now, want string }{
		{`"/bank/{bank.number}/take"`, `"/bank/{bank.number}/swap"`, `
mixer is spoken to otherwise
  - take effects => /bank/2/take
  + take effects => /bank/2/swap
`},
		{"osc.slip://127.0.0.1:9204", "osc.slip://127.0.0.1:9304", `
iso is spoken to otherwise
  - reached => osc.slip 127.0.0.1:9204 login "" token "" within 1s
  + reached => osc.slip 127.0.0.1:9304 login "" token "" within 1s
`},
		{"means: { 0: stopped, 1: running }", "means: { 0: stopped, 2: running }", `
iso is spoken to otherwise
  - hears iso.state => /rolling 0  body every 0s, 0 is stopped, 1 is rolling
  + hears iso.state => /rolling 0  body every 0s, 0 is stopped, 2 is rolling
`},
	} {
		changes, _ := compare.Diff(rendered(t), rendered(t, c.old, c.now), nil)
		if len(changes) != 1 || changes[0].Kind != compare.OfMessages || changes[0].Text() != strings.TrimPrefix(c.want, "\n") {
			t.Errorf("got %s\nwant%s", told(changes), c.want)
		}
	}
}
