package main

import (
	"encoding/json"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"cuewright/macro/source"
	"cuewright/targets/status"
	"cuewright/targets/surface"
)

// controller is a `cuewright run` of the small show, as a process of its own.
type controller struct {
	*exec.Cmd
	dir   string
	lines io.Writer // its input
	told  *net.UnixConn
}

// runs starts one with a service manager that listens.
func runs(t *testing.T, dir string, flags ...string) *controller {
	t.Helper()
	program := filepath.Join(t.TempDir(), "cuewright")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, program); err != nil { // testscript tells its commands by their name
		t.Fatal(err)
	}
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	c := &controller{dir: dir}
	socket := filepath.Join(t.TempDir(), "notify")
	if c.told, err = net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.told.Close() })
	c.Cmd = exec.Command(program, append([]string{"run", "small.show", "--state", "state"}, flags...)...)
	c.Dir = dir
	c.Env = append(os.Environ(), "NOTIFY_SOCKET="+socket, "WATCHDOG_USEC=1500000", "SMALL_DECK_LOGIN=user:pass", "SMALL_SAFETY_TOKEN=0123456789")
	if c.lines, err = c.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	c.Stderr = os.Stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c
}

// tells is the next thing that the manager is told which is no ping.
func (c *controller) tells(t *testing.T) string {
	t.Helper()
	for {
		if text := c.hears(t, 20*time.Second); text != "WATCHDOG=1\n" {
			return text
		}
	}
}

// hears is the next message to the manager, "" when none comes.
func (c *controller) hears(t *testing.T, within time.Duration) string {
	t.Helper()
	buf := make([]byte, 4096)
	_ = c.told.SetReadDeadline(time.Now().Add(within))
	n, err := c.told.Read(buf)
	if err != nil && within > time.Minute {
		t.Fatal(err)
	}
	return string(buf[:n])
}

// TestService: a service manager is told when the show is ready, that its loop
// turns, that it loads the show again, and that it ends.
func TestService(t *testing.T) {
	c := runs(t, t.TempDir())
	for _, want := range []string{"READY=1\n", "STATUS=runs Small show\n"} {
		if got := c.tells(t); got != want {
			t.Fatalf("the manager was told %q, want %q", got, want)
		}
	}
	for range 2 {
		for got := ""; got != "WATCHDOG=1\n"; {
			if got = c.hears(t, 20*time.Second); got == "" {
				t.Fatal("the manager hears nothing of the loop")
			}
		}
	}
	if err := c.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"RELOADING=1\n", "READY=1\n"} {
		if got := c.tells(t); got != want {
			t.Fatalf("the manager was told %q, want %q", got, want)
		}
	}
	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if got := c.tells(t); got != "STOPPING=1\n" {
		t.Fatalf("the manager was told %q", got)
	}
	if err := c.Wait(); err != nil {
		t.Error(err)
	}
}

// TestServiceHeld: after a kill the show is ready for the manager, who would
// else end it, and held; when somebody resumes, the manager is told.
func TestServiceHeld(t *testing.T) {
	dir := t.TempDir()
	c := runs(t, dir)
	c.tells(t)
	if _, err := io.WriteString(c.lines, "go\n"); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		var r status.Report
		_, out, _ := cuewright("status", "--state", filepath.Join(dir, "state"), "--json")
		if json.Unmarshal([]byte(out), &r) == nil && r.Standby.Number != "1" && r.Journal.Behind == 0 {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("the cue is not in the journal: %s", out)
		}
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait() // it was killed
	c = runs(t, dir)
	for _, want := range []string{"READY=1\n", "STATUS=runs Small show; held: nothing is sent before somebody resumes\n"} {
		if got := c.tells(t); got != want {
			t.Fatalf("the manager was told %q, want %q", got, want)
		}
	}
	if exit, out, _ := cuewright("status", "--state", filepath.Join(dir, "state")); exit != exitFindings || !strings.Contains(out, "LOOK: held") {
		t.Errorf("%d %s", exit, out)
	}
	if _, err := io.WriteString(c.lines, "resume\n"); err != nil {
		t.Fatal(err)
	}
	if got := c.tells(t); got != "STATUS=runs Small show\n" {
		t.Errorf("the manager was told %q", got)
	}
}

// TestStatus: a controller is asked on its socket and by HTTP, with the code of
// its page; what wants attention is an exit code.
func TestStatus(t *testing.T) {
	dir := t.TempDir()
	code := filepath.Join(dir, "code")
	if err := os.WriteFile(code, []byte("a code of the test\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0") // for a port that is free
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	_ = l.Close()
	c := runs(t, dir, "--http", at, "--token-file", code)
	c.tells(t)
	state := filepath.Join(dir, "state")

	var r status.Report
	exit, out, problem := cuewright("status", "--state", state, "--json")
	if err := json.Unmarshal([]byte(out), &r); err != nil || exit == exitUsage {
		t.Fatalf("%d %s %v", exit, problem, err)
	}
	if r.Show != "Small show" || r.Running != r.OnDisk || len(r.Devices) == 0 || r.Journal == nil || r.Journal.Record == 0 || r.Standby.Number == "" {
		t.Errorf("the report is %+v", r)
	}
	if len(r.Surfaces) != 1 || r.Surfaces[0].At != at {
		t.Errorf("the surfaces are %+v", r.Surfaces)
	}
	if exit, out, problem = cuewright("status", "--http", "http://"+at, "--token-file", code); exit == exitUsage || !strings.Contains(out, "Small show, runs since") {
		t.Errorf("%d %s%s", exit, out, problem)
	}
	if exit, _, problem = cuewright("status", "--http", "http://"+at); exit != exitUsage || !strings.Contains(problem, "wants its pairing code") {
		t.Errorf("without the code: %d %s", exit, problem)
	}
	// No devices are there: those that are asked are away before long, and that wants attention.
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if exit, out, _ = cuewright("status", "--state", state); exit == exitFindings && strings.Contains(out, "LOOK: deck is away") {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("%d\n%s", exit, out)
		}
	}
	if exit, _, problem = cuewright("run", filepath.Join(dir, "small.show"), "--state", state); exit != exitUsage || !strings.Contains(problem, "another controller runs on") {
		t.Errorf("a second controller: %d %s", exit, problem)
	}
	if _, err := io.WriteString(c.lines, "quit\n"); err != nil {
		t.Fatal(err)
	}
	if err := c.Wait(); err != nil {
		t.Error(err)
	}
	if exit, _, problem = cuewright("status", "--state", state); exit != exitUsage || !strings.Contains(problem, "no controller runs there") {
		t.Errorf("after its end: %d %s", exit, problem)
	}
	if exit, _, problem = cuewright("status"); exit != exitUsage || !strings.Contains(problem, "give one of --state DIR and --http URL") {
		t.Errorf("of no controller: %d %s", exit, problem)
	}
}

// TestStatusFits80: however long names and times are, no line is longer than 80
// cells, and all that matters is there.
func TestStatusFits80(t *testing.T) {
	lost, free, now := uint64(12), uint64(75_300_000_000), time.Unix(1_000_000, 0)
	long := strings.Repeat("長い名前 ", 30)
	seen := now.Add(-100 * time.Hour)
	r := status.Report{At: now, Since: now.Add(-200 * 24 * time.Hour), Show: long, Running: strings.Repeat("a", 64), OnDisk: "with errors", Standby: status.Cue{Number: "1", Label: long},
		Pair:     &status.Pair{Seat: "A", Role: "nobody leads", Epoch: 1 << 60, Other: "B", Seen: &seen},
		ByItself: []string{"by the clock: cue 1 at 18:00:00, in 0:12:34 " + long},
		Outputs:  []status.Output{{Name: long, NeedsLook: true, Sent: status.Column{Text: long}, Acknowledged: status.Column{Text: long}, Observed: status.Column{Text: long}}, {Name: "hall", Wanted: "wide", Observed: status.Column{Text: "seen: close"}}},
		Devices:  []status.Device{{Name: long, Away: true, Waiting: 256, Messages: map[string]uint64{"sent": 12345678, "dropped": 1}, Seen: &seen}, {Name: "hall"}},
		Surfaces: []surface.Way{{Kind: "osc.udp", At: "[2001:db8:0:0:0:0:0:1]:9400", Dropped: &lost, Clients: []surface.Client{{Who: long, Seen: seen}, {Who: "b", Seen: now, Connected: true}}},
			{Kind: "midi", At: "/dev/snd/midiC1D0"}},
		Journal: &status.Journal{Record: 1 << 40, Behind: 3, Lost: 4, Bytes: 1 << 50, Free: &free}, Attention: []string{long}}
	text := statusText(&r)
	for line := range strings.Lines(text) {
		if w := source.Width(strings.TrimRight(line, "\n")); w > 80 {
			t.Errorf("%d cells: %s", w, line)
		}
	}
	for _, want := range []string{"AWAY", "4 d", "another on the disk: with errors", "midi /dev/snd/midiC1D0", "nobody", "gone 4 d", "75.3 GB left", "LOOK: ", "never", "never set", "* 長い", "seen: close", "in 0:12:34", "nobody leads, epoch 1152921504606846976; B last heard: 4 d ago"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	t.Log("\n" + text)
}
