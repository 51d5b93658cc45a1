package midi

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// TestDevice: a device gets all lamps when it is there, its notes press, what
// changes is told, and when it is pulled out its fingers come up.
func TestDevice(t *testing.T) {
	other, path := surfacetest.Terminal(t)
	d := surfacetest.New(t, surfacetest.Show(t))
	start(t, d, Config{File: path, Surface: "desk"})
	read := func(n int) string { return readNotes(t, other, n) }
	if got := read(3 * 15); !strings.HasPrefix(got, "ch1 36:127 on, ch1 37:0 off") {
		t.Errorf("at first %s", got)
	}
	if _, err := other.Write(bytesOf(t, "90 25 7F FE 25 00")); err != nil {
		t.Fatal(err)
	}
	if got := read(3); got != "ch1 37:25 on" {
		t.Errorf("then %s", got)
	}
	if _, err := other.Write(bytesOf(t, "26 7F")); err != nil { // the status still runs
		t.Fatal(err)
	}
	d.Await(t, "Talk is down", func(*surface.View) bool { return pressed(d) == "Goal down, Goal up, Talk down" })
	_ = other.Close()
	d.Await(t, "Talk came up", func(*surface.View) bool { return pressed(d) == "Goal down, Goal up, Talk down, Talk up" })
}

// readNotes reads the notes in n bytes.
func readNotes(t *testing.T, from *os.File, n int) string {
	t.Helper()
	_ = from.SetReadDeadline(time.Now().Add(5 * time.Second))
	b := make([]byte, n)
	if _, err := io.ReadFull(from, b); err != nil {
		t.Fatal(err)
	}
	return notes(b)
}

// TestEnd: at the end no lamp stays on, and who comes later is told all.
func TestEnd(t *testing.T) {
	other, path := surfacetest.Terminal(t)
	still, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY, 0) // else the terminal hangs up with who closes it
	if err != nil {
		t.Fatal(err)
	}
	defer still.Close()
	for range 2 {
		s := start(t, surfacetest.New(t, surfacetest.Show(t)), Config{File: path, Surface: "desk"})
		if got := readNotes(t, other, 3*15); !strings.HasPrefix(got, "ch1 36:127 on, ch1 37:0 off") {
			t.Errorf("at first %s", got)
		}
		_ = s.Close()
		if got := readNotes(t, other, 2*3); got != "ch1 36:0 off, ch1 50:0 off" {
			t.Errorf("at the end %s", got)
		}
	}
}

// TestPipe: a named pipe brings presses and gets no lamps, which would come back
// as presses.
func TestPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	d := surfacetest.New(t, surfacetest.Show(t))
	start(t, d, Config{File: path, Surface: "desk"})
	pipe, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer pipe.Close()
	if _, err := pipe.Write(bytesOf(t, "90 25 7F 25 00")); err != nil {
		t.Fatal(err)
	}
	d.Await(t, "Goal was pressed", func(*surface.View) bool { return strings.HasSuffix(pressed(d), "Goal up") })
	if got := pressed(d); got != "Goal down, Goal up" {
		t.Errorf("pressed %s", got)
	}
}
