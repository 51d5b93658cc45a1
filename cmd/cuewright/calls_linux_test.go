package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// harmless are system calls that the unit's filter refuses and whose refusal
// changes nothing: Go's runtime asks for more open files, and does without.
var harmless = map[string]bool{"setrlimit": true}

// TestUnitLetsItWork: every system call that a running show makes is one that
// the unit's SystemCallFilter lets through, by what systemd says is in its
// groups. strace tells which calls are made.
func TestUnitLetsItWork(t *testing.T) {
	strace, analyze := peer(t, "strace"), peer(t, "systemd-analyze")
	if testing.Short() {
		t.Skip("it builds the program")
	}
	dir := t.TempDir()
	program, log := filepath.Join(dir, "cuewright"), filepath.Join(dir, "calls")
	build := exec.Command("go", "build", "-trimpath", "-o", program, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(strace, "-f", "-qq", "-o", log, program, "run", filepath.Join(dir, "small.show"), "--state", filepath.Join(dir, "state"),
		"--http", "127.0.0.1:0", "--osc", "127.0.0.1:0", "--osc-tcp", "127.0.0.1:0", "--keys", "desk="+filepath.Join(dir, "none"))
	run.Env = append(os.Environ(), "SMALL_DECK_LOGIN=user:pass", "SMALL_SAFETY_TOKEN=0123456789")
	lines, err := run.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	said, err := run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	run.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	for out := bufio.NewScanner(said); out.Scan(); {
		switch {
		case strings.Contains(out.Text(), "ready: "):
			if _, _, problem := cuewright("status", "--state", filepath.Join(dir, "state")); problem != "" {
				t.Error(problem)
			}
			time.Sleep(300 * time.Millisecond) // devices are looked for
			if _, err := lines.Write([]byte("press cameras 1.1\ngo\nreload\nquit\n")); err != nil {
				t.Error(err)
			}
		}
	}
	if err := run.Wait(); err != nil {
		t.Skipf("strace cannot be used here: %v", err)
	}
	allowed := callsOf(t, analyze, "@system-service", "@default")
	for _, group := range []string{"@privileged", "@resources"} {
		for call := range callsOf(t, analyze, group) {
			delete(allowed, call)
		}
	}
	made := callsIn(t, log)
	if len(made) < 30 || !made["timerfd_create"] || !made["fsync"] || !made["connect"] {
		t.Errorf("only %d calls were seen: %v", len(made), made)
	}
	for call := range made {
		if !allowed[call] && !harmless[call] {
			t.Errorf("the unit does not let %s through", call)
		}
	}
}

// peer is a program that ours is compared with.
func peer(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CUEWRIGHT_PEERS") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	return path
}

// callsOf is the system calls of some of systemd's groups.
func callsOf(t *testing.T, analyze string, groups ...string) map[string]bool {
	t.Helper()
	calls := map[string]bool{}
	for _, group := range groups {
		out, err := exec.Command(analyze, "--no-pager", "syscall-filter", group).Output()
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(out)) {
			switch word := strings.TrimSpace(line); {
			case strings.HasPrefix(word, "#") || word == group || word == "":
			case strings.HasPrefix(word, "@"):
				for call := range callsOf(t, analyze, word) {
					calls[call] = true
				}
			default:
				calls[word] = true
			}
		}
	}
	return calls
}

var callLine = regexp.MustCompile(`^\d+ +(?:<\.\.\. )?([a-z_0-9]+)[( ]`)

// callsIn is the system calls of a log of strace.
func callsIn(t *testing.T, name string) map[string]bool {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	calls := map[string]bool{}
	for line := range strings.Lines(string(text)) {
		if m := callLine.FindStringSubmatch(line); m != nil {
			calls[m[1]] = true
		}
	}
	return calls
}
