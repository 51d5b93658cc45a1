package web

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// The peers are Debian's chromium, and playwright-core, axe-core and ws of npm
// (.ci/peers.json). Where one is missing its tests are skipped, unless
// CUEWRIGHT_PEERS is 1.

func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CUEWRIGHT_PEERS") == "1" {
		t.Fatal(what)
	}
	t.Skip(what + "; set CUEWRIGHT_PEERS=1 to make this a failure")
}

func tool(t *testing.T, name, from string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		missing(t, name+" is not here (Debian package "+from+")")
	}
	return path
}

// modules is the folder with the packages of .ci/peers.json.
func modules(t *testing.T, names ...string) string {
	t.Helper()
	dir := os.Getenv("CUEWRIGHT_NODE_MODULES")
	for _, name := range names {
		if _, err := os.Stat(filepath.Join(dir, name)); dir == "" || err != nil {
			missing(t, "npm "+name+" is not in CUEWRIGHT_NODE_MODULES")
		}
	}
	return dir
}

// slowDesk is a desk that can be slow to answer.
type slowDesk struct {
	*surfacetest.Desk
	gate sync.RWMutex
}

func (d *slowDesk) Press(p surface.Press) surface.Answer {
	d.gate.RLock()
	defer d.gate.RUnlock()
	return d.Desk.Press(p)
}

// TestPageInBrowser: what an operator meets, in a real browser; see look.mjs.
// With CUEWRIGHT_PICTURES it leaves pictures in that folder.
func TestPageInBrowser(t *testing.T) {
	node, chromium := tool(t, "node", "nodejs"), tool(t, "chromium", "chromium")
	dir := modules(t, "playwright-core", "axe-core")
	d := &slowDesk{Desk: surfacetest.New(t, surfacetest.Show(t))}
	config := Config{Token: secret}
	s := serve(t, d, config)
	config.Address = s.Addr().String()

	cmd := exec.CommandContext(t.Context(), node, "testdata/look.mjs", "http://"+config.Address, os.Getenv("CUEWRIGHT_PICTURES"))
	cmd.Env = append(os.Environ(), "MODULES="+dir, "CHROMIUM="+chromium, "TOKEN="+secret)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	mixer := int32(slices.IndexFunc(d.View().Program.Devices, func(x program.Device) bool { return x.Name == "mixer" }))
	script := map[string]func() string{
		"pressed":   func() string { return pressedWords(d.Desk) },
		"slow":      func() string { d.gate.Lock(); return "" },
		"quick":     func() string { d.gate.Unlock(); return "" },
		"turn":      func() string { d.Event(step.Down, d.Button(t, "cameras", 3, 4), 0); return "" },
		"turn back": func() string { d.Event(step.Down, d.Button(t, "crew", 1, 1), 0); return "" },
		"fault":     func() string { d.Event(step.Fault, mixer, int32(program.Away)); return "" },
		"well":      func() string { d.Event(step.Fault, mixer, int32(program.Well)); return "" },
		"alert":     func() string { d.Event(step.Go, d.View().CueNumbered("3.5"), 0); return "" },
		"outputs": func() string {
			at := time.Date(2026, 11, 25, 20, 1, 13, 0, time.Local)
			d.Outputs(
				surface.Output{Name: "screens", Field: -1, Wanted: "wide", Sent: surface.Column{State: surface.Told, Words: "cut main to wide", At: at},
					Acknowledged: surface.Column{State: surface.OnItsWay, At: at}, Observed: surface.Column{State: surface.Seen, Words: "goal", At: at}, Drifted: true, AfterCut: "left as it is"},
				surface.Output{Name: "deck.state", Field: 0, Wanted: "cued", Sent: surface.Column{State: surface.Told, Words: `load deck with "opener"`, At: at},
					Acknowledged: surface.Column{State: surface.No, Words: "409 Conflict: no clip!", At: at}, Observed: surface.Column{State: surface.Unheard, Words: "cued"}},
				surface.Output{Name: "stage", Field: -1, Observed: surface.Column{State: surface.Assumed, Words: "slides"}},
			)
			return ""
		},
		"stall": func() string { d.Stall(true); return "" },
		"go on": func() string { d.Stall(false); return "" },
		"close": func() string { _ = s.Close(); return "" },
		"open":  func() string { s = serve(t, d, config); return "" },
		"trial": func() string {
			_, _ = d.Load(surface.Load{By: "test", Trial: time.Minute}) // this desk takes every trial
			return ""
		},
		"kept":             func() string { return lastBy(d.Desk, surface.Keep, surface.Return) },
		"another takes it": func() string { d.Press(surface.Press{Kind: surface.TakeOver, Button: -1, By: "another"}); return "" },
		"holder":           func() string { return d.View().Holder[0] },
	}
	seen := map[string]string{}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		name, value, _ := strings.Cut(lines.Text(), ": ")
		if name != "ask" {
			seen[name] = value
			continue
		}
		do := script[value]
		if do == nil {
			t.Fatalf("the script asks for %q", value)
		}
		if _, err := io.WriteString(in, do()+"\n"); err != nil {
			t.Fatal(err)
		}
	}
	want := map[string]string{
		"keys before pairing": "0",
		"wrong code":          "That is not the code.",
		"axe pairing":         "clean", "axe fresh": "clean", "axe fault": "clean", "axe stale": "clean", "axe check": "clean", "axe trial": "clean", "axe taken": "clean", "axe telephone, on trial": "clean", "axe telephone": "clean",
		"smallest key at least 64":                 "true",
		"smallest key at least 64, on a telephone": "true",
		"gap":                                   "8px",
		"pressed so far":                        "",
		"pressed after release":                 "Wide down, Wide up",
		"pressed after sliding off":             "Wide down, Wide up",
		"pressed once":                          "Wide down, Wide up, Wide down, Wide up",
		"after a tap on what is guarded":        "Wide down, Wide up, Wide down, Wide up",
		"after holding":                         "Wide down, Wide up, Wide down, Wide up, Stop down, Stop up, Stop down, Stop up",
		"after the page turned":                 "Wide down, Wide up, Wide down, Wide up, Stop down, Stop up, Stop down, Stop up",
		"fault":                                 "FAULT",
		"alert":                                 "start again",
		"axe outputs":                           "clean",
		"output":                                "screens otherwise than wanted; left as it is wide cut main to wide 20:01:13 on its way 20:01:13 seen: goal 20:01:13 Send again hold Adopt hold",
		"refused output":                        `deck.state cued load deck with "opener" 20:01:13 no: 409 Conflict: no clip! 20:01:13 not heard yet: cued Send again hold Adopt hold`,
		"smallest key of the table at least 64": "true",
		"after the table":                       "adopt screens, send again deck.state",
		"unlocked":                              "false",
		"stale says":                            "NO CONTACT",
		"disarmed":                              "true",
		"nothing was made up for":               "true",
		"nothing was replayed":                  "true",
		"waking pressed nothing":                "true",
		"the touch that wakes":                  "true",
		"stream":                                "true",
		"animations when motion is reduced":     "0",
		"outside requests":                      "none",
		"troubles":                              "none",
		"end":                                   "end",
		"counted down":                          "true",
		"no key moved":                          "true",
		"no key moved, on a telephone":          "true",
		"a tap did not end it":                  "true",
		"taken over by a ticket":                "true",
		"given back":                            "true",
	}
	for name, value := range want {
		if seen[name] != value {
			t.Errorf("%s: %q, want %q", name, seen[name], value)
		}
	}
	for name, want := range map[string]string{"kept by": "web 127.0.0.1 look 0", "ended by": "web 127.0.0.1 look 1"} {
		if seen[name] != want {
			t.Errorf("%s %q, want %q", name, seen[name], want)
		}
	}
	if l := seen["stale lamp"]; l != "unknown" && !strings.HasPrefix(l, "was ") {
		t.Errorf("a stale lamp says %q", l)
	}
	if a, b := seen["afterwards"], seen["by keyboard and click"]; b != a+", Wide down, Wide up, Wide down, Wide up" {
		t.Errorf("by keyboard and click: %q after %q", b, a)
	}
}

// lastBy is who pressed one of some kinds last, without what tells tickets apart,
// and which.
func lastBy(d *surfacetest.Desk, kinds ...surface.Kind) string {
	for _, p := range slices.Backward(d.Pressed()) {
		if i := slices.Index(kinds, p.Kind); i >= 0 {
			by, _, _ := strings.Cut(p.By, " #")
			return fmt.Sprint(by, " ", i)
		}
	}
	return ""
}

// pressedWords is what was pressed, by label.
func pressedWords(d *surfacetest.Desk) string {
	var words []string
	for _, p := range d.Pressed() {
		word := map[surface.Kind]string{surface.Down: "down", surface.Up: "up", surface.Adopt: "adopt", surface.Resend: "send again"}[p.Kind]
		if p.Kind == surface.Adopt || p.Kind == surface.Resend {
			word += " " + surface.OutputNames(p.Of)[p.Destination]
		}
		if p.Button >= 0 {
			word = p.Of.Buttons[p.Button].Label + " " + word
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}

// TestSocketOfAnother: npm ws speaks with ours.
func TestSocketOfAnother(t *testing.T) {
	node := tool(t, "node", "nodejs")
	dir := modules(t, "ws")
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Token: secret})
	cmd := exec.CommandContext(t.Context(), node, "testdata/socket.mjs", s.Addr().String())
	cmd.Env = append(os.Environ(), "MODULES="+dir, "TOKEN="+secret)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	for _, want := range []string{"without token: 401", "of another page: 403", "page: cameras", "page: crew", "closed: 1000",
		`answer: {"id":"x","outcome":"done","text":"","opened":false}`} {
		if !slices.Contains(lines, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
	if got := pressedWords(d); got != "Crew down, Crew up" {
		t.Errorf("pressed %s", got)
	}
}
