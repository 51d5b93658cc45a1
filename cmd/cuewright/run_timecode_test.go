package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// heardLines is an output that can be read while it is written to.
type heardLines struct {
	mu  sync.Mutex
	all bytes.Buffer
}

func (h *heardLines) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.all.Write(b)
}

func (h *heardLines) await(t *testing.T, text string) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		h.mu.Lock()
		has := strings.Contains(h.all.String(), text)
		h.mu.Unlock()
		if has {
			return
		}
	}
	t.Fatalf("it never said %q:\n%s", text, h.all.String())
}

// quarters are the quarter frames of seconds of timecode from an hour on, at 25.
func quarters(seconds int) []byte {
	var out []byte
	for second := range seconds {
		for frame := 0; frame < 25; frame++ {
			of := frame + 25*second
			begun := of - of%2 // two frames say one time
			for piece := 4 * (of % 2); piece < 4*(of%2)+4; piece++ {
				f, s := begun%25, begun/25
				value := [8]int{f & 15, f >> 4, s & 15, s >> 4, 0, 0, 1, 2}[piece]
				out = append(out, 0xF1, byte(piece<<4|value))
			}
		}
	}
	return out
}

// A MIDI controller whose file carries notes and timecode is a surface, and
// fires the cues of the timecode; a timecode by itself does, too.
func TestRunFollowsTimecode(t *testing.T) {
	archive, err := os.ReadFile("../../testdata/script/run.txtar")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(archive), "-- evening.yaml --\n")
	rack, _, _ := strings.Cut(rest, "-- ")
	for _, shared := range []bool{true, false} {
		dir := t.TempDir()
		tape := filepath.Join(dir, "tape")
		if err := syscall.Mkfifo(tape, 0o600); err != nil {
			t.Fatal(err)
		}
		for name, text := range map[string]string{"evening.yaml": rack, "evening.show": `show "Evening" uses "evening.yaml"
page desk on grid { button 1.1 "Wide" { alert "wide" } }
rundown {
  cue 1 "Anthem" at timecode 01:00:01:10 { alert "anthem" }
  cue 2 "Flag" at timecode 01:00:09:00 { alert "flag" }
}
`} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		args := []string{"run", filepath.Join(dir, "evening.show"), "--state", filepath.Join(dir, "state"), "--timecode", tape}
		if shared {
			args = append(args, "--midi", "grid="+tape)
		}
		in, typed := io.Pipe()
		var said heardLines
		code := make(chan int)
		go func() { code <- run(args, streams{in: in, out: &said, err: &said}) }()
		said.await(t, "ready")
		said.await(t, "a device is there")
		play, err := os.OpenFile(tape, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := play.Write(append([]byte{0x90, 36, 127, 36, 0}, quarters(3)...)); err != nil {
			t.Fatal(err)
		}
		said.await(t, "anthem")
		if shared {
			said.await(t, "wide")
		}
		time.Sleep(100 * time.Millisecond) // a view is made a hundred times a second at most
		if _, err := io.WriteString(typed, "state\nquit\n"); err != nil {
			t.Fatal(err)
		}
		if got := <-code; got != 0 {
			t.Errorf("exit code %d", got)
		}
		_ = typed.Close()
		_ = play.Close()
		said.await(t, `next is cue 2 "Flag" at 01:00:09:00`)
		if text := said.all.String(); strings.Contains(text, "flag") {
			t.Errorf("a cue was fired that had not come:\n%s", text)
		}
		if _, out, _ := cuewright("log", filepath.Join(dir, "state"), "--as-run"); !strings.Contains(out, `cue 1 "Anthem", by the timecode, 01:00:01:10`) {
			t.Errorf("the as-run sheet does not say what fired it:\n%s", out)
		}
		if exit, out, _ := cuewright("replay", filepath.Join(dir, "state")); exit != 0 {
			t.Errorf("replay: %s", out)
		}
	}
}
