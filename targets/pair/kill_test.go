package pair

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/journal"
	"cuewright/targets/lease"
	"cuewright/targets/surface"
)

// The test kills controllers: this binary, run again with what they need in the
// environment.
const childVar = "CUEWRIGHT_TEST_PAIR"

// role is what a child is told to be.
type role struct {
	Config  Config
	Program string // file of the program, with the devices where the stand-ins are
}

// child is one of a pair. It does what the lines of its input say.
func child() {
	if err := beChild(); err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
}

func beChild() error {
	var r role
	if err := json.Unmarshal([]byte(os.Getenv(childVar)), &r); err != nil {
		return err
	}
	data, err := os.ReadFile(r.Program)
	if err != nil {
		return err
	}
	p, err := program.Decode(data)
	if err != nil {
		return err
	}
	end, err := Open(r.Config)
	if err != nil {
		return err
	}
	desk, err := control.Start(p, control.Options{Dir: r.Config.Dir, Env: credentials, Pair: end})
	if err != nil {
		return err
	}
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		what, label, _ := strings.Cut(in.Text(), " ")
		switch what {
		case "tap":
			b := int32(slices.IndexFunc(p.Buttons, func(b program.Button) bool { return b.Label == label }))
			a := desk.Press(surface.Press{Kind: surface.Down, Surface: -1, Button: b, Cue: -1, By: "test"})
			desk.Press(surface.Press{Kind: surface.Up, Surface: -1, Button: b, Cue: -1, By: "test"})
			fmt.Println(a.Outcome, a.Text)
		case "switch":
			a := desk.Press(surface.Press{Kind: surface.SwitchOver, Surface: -1, Button: -1, Cue: -1, By: "test"})
			fmt.Println(a.Outcome, a.Text)
		case "state":
			v := desk.View()
			fmt.Println(v.Pair.Leads, v.Pair.Sends, v.Pair.InStep, v.Held, v.Pair.Epoch)
		case "alerts":
			fmt.Printf("%q\n", fmt.Sprint(desk.View().Alerts))
		}
	}
	return nil
}

// process is a child that runs.
type process struct {
	t   *testing.T
	cmd *exec.Cmd
	in  io.Writer
	out *bufio.Reader
}

func startProcess(t *testing.T, r role) *process {
	t.Helper()
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childVar+"="+string(text))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &process{t, cmd, in, bufio.NewReader(out)}
}

func (p *process) ask(line string) string {
	p.t.Helper()
	if _, err := fmt.Fprintln(p.in, line); err != nil {
		p.t.Fatal(err)
	}
	answer, err := p.out.ReadString('\n')
	if err != nil {
		p.t.Fatalf("%s: %v", line, err)
	}
	return strings.TrimSpace(answer)
}

func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait() // killed, as it should be
}

// rungs is how many messages the long macro sends, each another one, with a
// wait of rung between them.
const (
	rungs = 60
	rung  = 15 * time.Millisecond
)

// ladder is a show with a macro that sends for long enough to be killed in it.
func ladder() string {
	var b strings.Builder
	fmt.Fprintln(&b, "macro ladder {")
	for i := 1; i <= rungs; i++ {
		fmt.Fprintf(&b, "  send lights(level: %d, scene: \"half\")\n  wait %v\n", i, rung)
	}
	fmt.Fprintln(&b, "}")
	text, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		return err.Error()
	}
	show := strings.Replace(string(text), "macro roll {", b.String()+"macro roll {", 1)
	return strings.Replace(show, `button 2.2 "Quiet"`, `button 2.3 "Ladder" { run ladder }
  button 2.2 "Quiet"`, 1)
}

// levels is how often each rung was heard.
var level = regexp.MustCompile(`lights\(level: ([0-9]+)`)

func levels(texts []string) (all []int) {
	for _, text := range texts {
		for _, m := range level.FindAllStringSubmatch(text, -1) {
			n, _ := strconv.Atoi(m[1])
			all = append(all, n)
		}
	}
	return all
}

// Killed in the middle of a macro, the leader is followed by the other one,
// which goes on from there: each message of the macro comes once and in order,
// but for those of which is said that they may or may not have come. The one
// that was killed comes back and follows.
func TestKillLeader(t *testing.T) {
	times := 2
	if n, err := strconv.Atoi(os.Getenv("CUEWRIGHT_KILLS")); err == nil {
		times = n
	} else if testing.Short() {
		t.Skip("it takes a while")
	}
	d := newDuoOf(t, ladder(), true, false)
	file := filepath.Join(t.TempDir(), "ladder.cue")
	if err := os.WriteFile(file, program.Encode(d.program), 0o600); err != nil {
		t.Fatal(err)
	}
	var both [2]*process
	start := func(s lease.Seat) { both[s] = startProcess(t, role{d.config(s), file}) }
	defer func() {
		for _, p := range both {
			p.kill()
		}
	}()
	start(lease.A)
	start(lease.B)
	var took []time.Duration
	unsure := 0
	for i := range times {
		leader := leaderOf(t, both)
		d.out.forget()
		if a := both[leader].ask("tap Ladder"); !strings.HasPrefix(a, "done") {
			t.Fatalf("round %d: %s", i, a)
		}
		time.Sleep(time.Duration(rand.Int64N(int64(rung) * rungs * 2 / 3)))
		both[leader].kill()
		killed := time.Now()
		other := leader.Other()
		await(t, "the macro is sent to its end", func() bool { return slices.Contains(levels(d.out.heard("lights")), rungs) })
		if after := d.out.after(killed.Add(lease.Beat)); !after.IsZero() {
			took = append(took, after.Sub(killed))
		}
		got, doubt := levels(d.out.heard("lights")), levels([]string{both[other].ask("alerts")})
		unsure += len(doubt)
		for _, n := range doubt {
			t.Logf("round %d: nobody knows of %d; it came: %v; rungs before the takeover %d", i, n, slices.Contains(got, n), len(levels(d.out.before(killed.Add(lease.Beat)))))
		}
		if len(doubt) > 3 {
			t.Errorf("round %d: of too many nobody knows whether they were sent: %v", i, doubt)
		}
		for n, at := 1, 0; n <= rungs; n++ {
			switch {
			case at < len(got) && got[at] == n:
				at++
			case !slices.Contains(doubt, n):
				t.Fatalf("round %d: %d is missing or out of order: %v", i, n, got)
			}
		}
		if len(got) > rungs {
			t.Errorf("round %d: %d messages: %v", i, len(got), got)
		}
		start(leader)
		if now := leaderOf(t, both); now != other {
			t.Errorf("round %d: %s came back and leads", i, now)
		}
	}
	slices.Sort(took)
	t.Logf("%d kills: from the kill to the next message %v … %v … %v; %d messages of which nobody knows", times, took[0], took[len(took)/2], took[len(took)-1], unsure)
	if took[len(took)-1] > 5*time.Second {
		t.Error("that is no second")
	}
	for _, p := range both {
		p.kill()
	}
	d.replays()
	for _, dir := range d.dirs {
		if n := count(t, dir, journal.Sent); n == 0 {
			t.Error("one journal has nothing that was sent")
		}
	}
}

// leaderOf waits until one leads and the other is in step.
func leaderOf(t *testing.T, both [2]*process) (leader lease.Seat) {
	t.Helper()
	await(t, "one leads and the other is in step", func() bool {
		states := [2]string{both[0].ask("state"), both[1].ask("state")}
		for s := range states {
			if strings.HasPrefix(states[s], "true true true") && strings.HasPrefix(states[1-s], "false false true") {
				leader = lease.Seat(s)
				return true
			}
		}
		return false
	})
	return leader
}

func count(t *testing.T, dir string, kind journal.Kind) (n int) {
	t.Helper()
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == kind {
			n++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return n
}
