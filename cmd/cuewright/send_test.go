package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/targets/prepare"
	"cuewright/targets/standin"
)

// lines is a writer that can be read while it is written.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write appends.
func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// bench is the small show with stand-ins for its devices.
type bench struct {
	rack *standin.Rack
	log  lines
	to   []string // flags that send to the stand-ins
}

func newBench(t *testing.T) *bench {
	t.Helper()
	dir := t.TempDir()
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	t.Setenv("SMALL_DECK_LOGIN", "desk:secret")
	t.Setenv("SMALL_SAFETY_TOKEN", "secret")
	r := prepare.Show("small.show", prepare.Disk)
	if r.Program == nil {
		t.Fatal(r.Findings)
	}
	b := &bench{}
	var err error
	if b.rack, err = standin.Start(r.Program, standin.Options{JSON: &b.log, AnyPort: true}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.rack.Close() })
	for _, s := range b.rack.Stands {
		b.to = append(b.to, "--to", s.Name+"="+s.URL)
	}
	return b
}

// elsewhere are the flags with another place for one device.
func (b *bench) elsewhere(device, url string) []string {
	to := slices.Clone(b.to)
	for i := range to {
		if strings.HasPrefix(to[i], device+"=") {
			to[i] = device + "=" + url
		}
	}
	return to
}

// closedPort is an address of this machine where nothing listens.
func closedPort(t *testing.T) string {
	t.Helper()
	l, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.LocalAddr().String()
}

// twice has a button with two datagrams at one moment, and one with a third
// some time later.
const twice = `show "Twice" uses "rack.yaml"
page cameras on desk {
  button 1.1 "Both" { cut main to wide; cut main to goal }
  button 1.2 "Later" { cut main to wide; wait 40ms; cut main to goal }
}
`

// TestSendToNobody: a datagram that nobody takes has failed, each of several,
// and one that is taken never has.
func TestSendToNobody(t *testing.T) {
	defer goleak.VerifyNone(t)
	b := newBench(t)
	defer b.rack.Close()
	if err := os.WriteFile("twice.show", []byte(twice), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, button := range []string{"cameras 1.1", "cameras 1.2"} {
		code, out, _ := cuewright(slices.Concat([]string{"send", "twice.show", "--button", button}, b.elsewhere("mixer", "osc.udp://"+closedPort(t)))...)
		if code != exitFindings || !strings.Contains(out, "0 messages sent, 2 failed") || strings.Contains(out, "on its way") ||
			strings.Count(out, "[device-refused]") != 2 {
			t.Errorf("%s: exit code %d\n%s", button, code, out)
		}
		code, out, _ = cuewright(slices.Concat([]string{"send", "twice.show", "--button", button}, b.to)...)
		if code != exitClean || !strings.Contains(out, "2 messages sent, 0 failed") || strings.Count(out, "on its way") != 2 {
			t.Errorf("%s: exit code %d\n%s", button, code, out)
		}
	}
}

// TestAHungDeviceDelaysNobody: what another device is told does not wait for
// one that never answers.
func TestAHungDeviceDelaysNobody(t *testing.T) {
	defer goleak.VerifyNone(t)
	b := newBench(t)
	defer b.rack.Close()
	hung, err := net.Listen("tcp", "127.0.0.1:0") // the kernel accepts, nobody answers
	if err != nil {
		t.Fatal(err)
	}
	defer hung.Close()
	text := strings.Replace(twice, "cut main to wide;", "record safety; record iso;", 1)
	if err := os.WriteFile("hung.show", []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, _ := cuewright(slices.Concat([]string{"send", "hung.show", "--button", "cameras 1.1"}, b.elsewhere("safety", "http://"+hung.Addr().String()))...)
	failed := strings.Index(out, "safety: record safety  FAILED")
	if code != exitFindings || failed < 0 || !strings.Contains(out, "2 messages sent, 1 failed") {
		t.Fatalf("exit code %d\n%s", code, out)
	}
	for _, other := range []string{"iso: record iso  on its way", "mixer: cut main to goal  on its way"} {
		if at := strings.Index(out, other); at < 0 || at > failed {
			t.Errorf("%q had to wait:\n%s", other, out)
		}
	}
}

// failing is a writer that fails after some bytes, as a closed pipe does.
type failing struct{ left int }

// Write takes what it still takes.
func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, syscall.EPIPE
	}
	return len(p), nil
}

// TestSendWithoutAReader: a cue is sent to its end though nobody reads what is
// told, and that is said.
func TestSendWithoutAReader(t *testing.T) {
	b := newBench(t)
	var err bytes.Buffer
	code := run(slices.Concat([]string{"send", "small.show", "--macro", "roll"}, b.to), streams{in: strings.NewReader(""), out: &failing{60}, err: &err})
	const want = "cuewright: 2 messages sent, 0 failed, but nobody could read what became of each\n" +
		"cuewright: the output cannot be written: nobody reads it any more\n"
	if code != exitUsage || err.String() != want {
		t.Errorf("exit code %d, said %q", code, err.String())
	}
	if got := b.heard(t, 2); len(got) != 2 {
		t.Errorf("heard %q", got)
	}
}

// heard waits until the stand-ins have been told that many things, ends them,
// and gives what it was, "device: message", each device's in its order.
func (b *bench) heard(t *testing.T, number int) []string {
	t.Helper()
	var out []string
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		out = b.log.told(t)
		if len(out) >= number || time.Now().After(end) {
			break
		}
	}
	b.rack.Close()
	out = b.log.told(t)
	slices.SortStableFunc(out, func(x, y string) int { return strings.Compare(device(x), device(y)) })
	return out
}

func device(line string) string { name, _, _ := strings.Cut(line, ":"); return name }

// told reads the log: what came from somebody, not what a stand-in said.
func (l *lines) told(t *testing.T) []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []string
	for d := json.NewDecoder(bytes.NewReader(l.b.Bytes())); d.More(); {
		var line struct{ Device, From, Means string }
		if err := d.Decode(&line); err != nil {
			t.Fatal(err)
		}
		if line.From != "" {
			out = append(out, line.Device+": "+line.Means)
		}
	}
	return out
}

// TestSendReachesTheDevices: what is sent is what the stand-ins know as the
// commands of the show, over every wire, salvos together and in order.
func TestSendReachesTheDevices(t *testing.T) {
	defer goleak.VerifyNone(t)
	tests := []struct {
		flags []string
		want  []string
	}{
		{[]string{"--button", "crew 1.3"}, []string{"mixer: route aux1 from main", "router: route router.4 from slides", "router: route router.3 from slides"}},
		{[]string{"--macro", "roll"}, []string{"iso: record iso", "safety: record safety"}},
		{[]string{"--button", "crew 2.3"}, []string{`hall: send lights(level: 40, scene: "half")`, "hall: send horn"}},
	}
	for _, c := range tests {
		t.Run(strings.Join(c.flags, " "), func(t *testing.T) {
			b := newBench(t)
			code, out, err := cuewright(slices.Concat([]string{"send", "small.show"}, c.flags, b.to)...)
			if code != exitClean {
				t.Fatalf("exit code %d\n%s%s", code, out, err)
			}
			if got := b.heard(t, len(c.want)); !slices.Equal(got, c.want) {
				t.Errorf("heard %q, want %q", got, c.want)
			}
		})
	}
}

// TestDryRunReachesNobody is the same commands with --dry-run.
func TestDryRunReachesNobody(t *testing.T) {
	b := newBench(t)
	code, out, err := cuewright(slices.Concat([]string{"send", "small.show", "--cue", "1", "--dry-run"}, b.to)...)
	if code != exitClean {
		t.Fatalf("exit code %d\n%s%s", code, out, err)
	}
	for line := range strings.Lines(out) {
		if !strings.HasPrefix(line, "dry run: ") {
			t.Errorf("a line does not say that it is a dry run: %s", line)
		}
	}
	if got := b.heard(t, 0); len(got) > 0 {
		t.Errorf("heard %q", got)
	}
}

// TestSendTellsWhatFailed: a closed port and a login that is not set, each with
// its code, and the exit code says so.
func TestSendTellsWhatFailed(t *testing.T) {
	b := newBench(t)
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := closed.Addr().String()
	closed.Close()
	code, out, _ := cuewright(slices.Concat([]string{"send", "small.show", "--macro", "roll"}, b.elsewhere("safety", "http://"+address))...)
	if code != exitFindings || !strings.Contains(out, "[device-refused]") || !strings.Contains(out, "1 message sent, 1 failed") {
		t.Errorf("exit code %d\n%s", code, out)
	}
	os.Unsetenv("SMALL_SAFETY_TOKEN") // Setenv of newBench brings it back
	code, out, _ = cuewright(slices.Concat([]string{"send", "small.show", "--macro", "roll"}, b.to)...)
	if code != exitFindings || !strings.Contains(out, "[credential-missing]") || !strings.Contains(out, "nothing was sent") || strings.Contains(out, "->") {
		t.Errorf("exit code %d\n%s", code, out)
	}
	if strings.Contains(out, "secret") {
		t.Errorf("a credential is shown:\n%s", out)
	}
}

// TestWhatADeviceSaysUnasked: bytes of a device that nobody asked for are
// written nowhere, since they could steer the terminal.
func TestWhatADeviceSaysUnasked(t *testing.T) {
	b := newBench(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go func() {
		for conn, err := l.Accept(); err == nil; conn, err = l.Accept() {
			_, _ = conn.Read(make([]byte, 4096))
			_, _ = io.WriteString(conn, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")
			time.Sleep(10 * time.Millisecond) // the connection is idle now
			_, _ = io.WriteString(conn, "\x1b[2Junasked")
		}
	}()
	text := strings.Replace(twice, "cut main to wide; wait 40ms;", "record safety; wait 200ms;", 1)
	if err := os.WriteFile("unasked.show", []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	args := slices.Concat([]string{"send", "unasked.show", "--button", "cameras 1.2"}, b.elsewhere("safety", "http://"+l.Addr().String()))
	out, err := exec.Command("cuewright", args...).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "2 messages sent, 0 failed") || strings.Contains(strings.ToLower(string(out)), "unsolicited") || bytes.ContainsAny(out, "\x1b") {
		t.Errorf("%v\n%q", err, out)
	}
}

// TestBenchDevicesTaken: every port that is in use is named in one finding, and
// what can be done.
func TestBenchDevicesTaken(t *testing.T) {
	dir := t.TempDir()
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	rack, err := os.ReadFile("rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for port := 9201; port <= 9209; port++ { // the plan's ports become some that are free, of which two are then taken
		wire, address := "udp", ""
		if port == 9203 || port == 9202 {
			wire = "tcp"
		}
		if wire == "tcp" {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			address = l.Addr().String()
		} else {
			address = closedPort(t)
		}
		rack = bytes.ReplaceAll(rack, []byte(fmt.Sprintf("127.0.0.1:%d", port)), []byte(address))
	}
	if err := os.WriteFile("rack.yaml", rack, 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, said := cuewright("bench-devices", "small.show")
	for _, want := range []string{"[wrong-usage]", "`router` at osc.tcp://127.0.0.1:", "`deck` at http://127.0.0.1:", "something else listens there", "--any-port"} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in %s", want, said)
		}
	}
	if code != exitUsage || out != "" {
		t.Errorf("exit code %d\n%s", code, out)
	}
}

// TestBenchDevices: it says where it listens and when it is ready, and ends
// cleanly when it is told to.
func TestBenchDevices(t *testing.T) {
	dir := t.TempDir()
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("cuewright", "bench-devices", "small.show", "--any-port")
	cmd.Dir = dir
	stderr, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	var said []string
	for s := bufio.NewScanner(stderr); s.Scan(); {
		said = append(said, s.Text())
		if strings.HasPrefix(s.Text(), "ready") {
			break
		}
	}
	if len(said) != 12 || !strings.HasPrefix(said[0], "goal ") || !strings.HasPrefix(said[10], "  --to goal=osc.udp://127.0.0.1:") ||
		strings.Count(said[10], "--to ") != 9 {
		t.Errorf("said %q", said)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}
