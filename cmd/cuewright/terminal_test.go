package main

import (
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// patience is how long a terminal is watched for what must come. Only a
// failing test waits for it.
const patience = 20 * time.Second

// terminal is cuewright in a real terminal, under tmux.
type terminal struct {
	t      *testing.T
	socket string
}

// newTerminal starts a command line in a terminal of 100 by 50 cells. Without
// tmux the test is skipped, unless all peers are asked for.
func newTerminal(t *testing.T, command string) *terminal {
	t.Helper()
	return newTerminalOf(t, 100, command)
}

// newTerminalOf starts a command line in a terminal of 50 lines of a width.
func newTerminalOf(t *testing.T, width int, command string) *terminal {
	t.Helper()
	if _, err := exec.LookPath("tmux"); err != nil {
		if os.Getenv("CUEWRIGHT_PEERS") != "" {
			t.Fatal("no tmux")
		}
		t.Skip("no tmux")
	}
	dir := t.TempDir()
	if err := copySmall(dir); err != nil {
		t.Fatal(err)
	}
	path, err := exec.LookPath("cuewright")
	if err != nil {
		t.Fatal(err)
	}
	x := &terminal{t, fmt.Sprintf("cuewright-%d-%s", os.Getpid(), t.Name())}
	x.tmux("-f", "/dev/null", "new-session", "-d", "-x", strconv.Itoa(width), "-y", "50", "-c", dir, "-e", "NO_COLOR=",
		strings.Replace(command, "cuewright", path, 1)+"; echo \"ended with $?\"; exec cat")
	t.Cleanup(func() { exec.Command("tmux", "-L", x.socket, "kill-server").Run() })
	return x
}

func (x *terminal) tmux(args ...string) string {
	x.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-L", x.socket}, args...)...).CombinedOutput()
	if err != nil {
		x.t.Fatalf("tmux %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// keys types a line.
func (x *terminal) keys(line string) { x.t.Helper(); x.tmux("send-keys", line, "Enter") }

// shows waits until the screen has a text. With colours, the screen is given
// with its escape sequences.
func (x *terminal) shows(want string, flags ...string) string {
	x.t.Helper()
	var screen string
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		screen = x.tmux(append([]string{"capture-pane", "-p", "-S", "-500"}, flags...)...)
		if strings.Contains(screen, want) {
			return screen
		}
	}
	x.t.Fatalf("no %q on the screen:\n%s", want, screen)
	return ""
}

// TestStepInATerminal steps through the show as a person does.
func TestStepInATerminal(t *testing.T) {
	x := newTerminal(t, "cuewright rehearse small.show --step")
	x.shows("desk shows page cameras")
	x.shows("\n>")
	x.keys("1")
	x.shows("to mixer: cut main to wide")
	x.keys("6")
	x.shows("desk shows page crew")
	x.keys("back")
	x.shows("back at 0.000 s")
	x.keys("quit")
	x.shows("ended with 0")
}

// TestGridInANarrowTerminal: a grid never wraps; where it would, it is a list.
func TestGridInANarrowTerminal(t *testing.T) {
	x := newTerminalOf(t, 60, "cuewright rehearse small.show --step")
	x.shows("| 1 Wide   | 2 Goal   | 3 Talk   |")
	y := newTerminalOf(t, 40, "cuewright rehearse small.show --step")
	y.shows("\n   1  1.1 air     Wide\n")
}

// TestStepEndsWithCtrlC: the prompt's line is ended, and nothing is wrong.
func TestStepEndsWithCtrlC(t *testing.T) {
	x := newTerminal(t, "cuewright rehearse small.show --step")
	x.shows("\n>")
	x.tmux("send-keys", "C-c")
	x.shows("\nended with 0")
}

// TestColourInATerminal: colour on a terminal, none with NO_COLOR.
func TestColourInATerminal(t *testing.T) {
	x := newTerminal(t, "cuewright check nowhere.show")
	x.shows("ended with 2")
	if screen := x.shows("[missing-file]", "-e"); !strings.Contains(screen, "\x1b[1m\x1b[31merror") && !strings.Contains(screen, "\x1b[1;31merror") {
		t.Errorf("no colour: %q", screen)
	}
	y := newTerminal(t, "NO_COLOR=1 cuewright check nowhere.show")
	y.shows("ended with 2")
	if screen := y.shows("[missing-file]", "-e"); strings.Contains(screen, "\x1b[31m") {
		t.Errorf("colour: %q", screen)
	}
}
