package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestRunCost builds the program as it is shipped and reports what it costs to
// run the league show: start to ready, resident memory and processor time when
// nothing is pressed. It reports and decides nothing: CUEWRIGHT_REPORT=1.
func TestRunCost(t *testing.T) {
	if os.Getenv("CUEWRIGHT_REPORT") == "" {
		t.Skip("CUEWRIGHT_REPORT is not set")
	}
	program := filepath.Join(t.TempDir(), "cuewright")
	build := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", program, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	show := "../../testdata/shows/league/league.show"
	compiled := filepath.Join(t.TempDir(), "league.cue")
	if out, err := exec.Command(program, "compile", show, "-o", compiled).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, what := range []string{show, compiled} {
		t.Run(filepath.Ext(what), func(t *testing.T) { runCost(t, program, what) })
	}
}

func runCost(t *testing.T, program, show string) {
	devices := exec.Command(program, "bench-devices", show)
	said, err := devices.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := devices.Start(); err != nil {
		t.Fatal(err)
	}
	defer end(t, devices)
	for lines := bufio.NewScanner(said); lines.Scan() && !strings.HasPrefix(lines.Text(), "ready"); {
	}
	run := exec.Command(program, "run", show, "--state", t.TempDir())
	run.Env = append(os.Environ(), credentialsOf(t)...)
	out, err := run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	run.Stderr = os.Stderr
	began := time.Now()
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	defer end(t, run)
	lines := bufio.NewScanner(out)
	for lines.Scan() && !strings.Contains(lines.Text(), "ready") {
	}
	ready := time.Since(began)
	time.Sleep(3 * time.Second) // the first look at the file on the disk is over
	before := ticks(t, run.Process.Pid)
	const seconds = 10
	time.Sleep(seconds * time.Second)
	idle := float64(ticks(t, run.Process.Pid)-before) / seconds // of a hundred ticks a second: percent
	t.Logf("start to ready %d ms, idle %.1f %% of a core, resident %s", ready.Milliseconds(), idle, field(t, run.Process.Pid, "status", "VmRSS:"))
}

func end(t *testing.T, c *exec.Cmd) {
	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
	_ = c.Wait() // how it ended is no matter here
}

// credentialsOf sets every credential that the plan names to something.
func credentialsOf(t *testing.T) []string {
	data, err := os.ReadFile("../../testdata/shows/league/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for line := range strings.Lines(string(data)) {
		word := strings.Fields(line)
		if len(word) > 1 && (word[0] == "login:" || word[0] == "token:") {
			all = append(all, word[1]+"=operator:of-the-test")
		}
	}
	return all
}

// ticks is the processor time that a process has used, in hundredths of a second.
func ticks(t *testing.T, pid int) int {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Skip("no such figures on this system:", err)
	}
	fields := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+1:]))
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return user + system
}

func field(t *testing.T, pid int, file, name string) string {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, file))
	if err != nil {
		t.Skip("no such figures on this system:", err)
	}
	for line := range strings.Lines(string(data)) {
		if rest, ok := strings.CutPrefix(line, name); ok {
			return strings.TrimSpace(rest)
		}
	}
	return "?"
}
