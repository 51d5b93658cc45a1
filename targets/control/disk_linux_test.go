package control

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// ownWorld is set in a test that has been run again in a user and mount name
// space of its own, where it may mount what it likes and nobody else sees it.
const ownWorld = "CUEWRIGHT_TEST_MOUNTS"

// inOwnWorld says whether the test goes on here: in the process that may
// mount. Its parent reports what came of it.
func inOwnWorld(t *testing.T) bool {
	t.Helper()
	if os.Getenv(ownWorld) != "" {
		return true
	}
	c := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v", "-test.timeout=2m")
	c.Env = append(os.Environ(), ownWorld+"=1")
	c.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{HostID: os.Getuid(), Size: 1}}, GidMappings: []syscall.SysProcIDMap{{HostID: os.Getgid(), Size: 1}}}
	out, err := c.CombinedOutput()
	var exit *exec.ExitError
	switch {
	case err == nil && strings.Contains(string(out), "--- PASS"):
	case err == nil || errors.As(err, &exit):
		t.Errorf("%v\n%s", err, out)
	case os.Getenv("CUEWRIGHT_PEERS") == "1":
		t.Fatalf("no name space can be made: %v", err)
	default:
		t.Skip("no name space can be made; set CUEWRIGHT_PEERS=1 to make this a failure:", err)
	}
	return false
}

// smallDisk is a folder with so many bytes of room.
func smallDisk(t *testing.T, bytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }) // it goes with this process in any case
	return dir
}

// fill takes all the room there is, and gives it back.
func fill(t *testing.T, dir string) (room func()) {
	t.Helper()
	name := filepath.Join(dir, "ballast")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = f.Write(make([]byte, 512))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	f.Close()
	return func() {
		if err := os.Remove(name); err != nil {
			t.Error(err)
		}
	}
}

func alerts(c *Controller, text string) int { return strings.Count(fmt.Sprint(c.View().Alerts), text) }

// wides cuts to Wide so often, and sees that the mixer is told each time.
func wides(t *testing.T, c *Controller, s *sink, times int) {
	t.Helper()
	before := s.count()
	for n := 1; n <= times; n++ {
		went(t, tap(t, c, button(t, c.View().Program, "Wide")))
		await(t, "the mixer is told", func() bool { return s.count() == before+n })
	}
}

// standsAfterACut is where a show that is cut off now is said to have stood.
func standsAfterACut(t *testing.T, p *program.Program, dir string) *Controller {
	t.Helper()
	left := cut(t, dir)
	_ = os.Remove(filepath.Join(left, "ballast"))
	s := newSink(t)
	c := start(t, at(p, "mixer", "osc.udp", s.conn.LocalAddr().String()), Options{Dir: left})
	if n := s.count(); n > 0 {
		t.Errorf("%d messages before anybody resumed", n)
	}
	return c
}

func skip(t *testing.T, c *Controller) {
	t.Helper()
	went(t, c.Press(surface.Press{Kind: surface.Skip, Surface: -1, By: "test"}))
}

// A disk that fills up in the middle of a show costs no press. It is told
// once, and once more when there is room again; from then on the journal knows
// where the show is, and says how much it has missed.
func TestDiskFillsUp(t *testing.T) {
	if !inOwnWorld(t) {
		return
	}
	s := newSink(t)
	p := mixerAt(t, s.conn.LocalAddr().String())
	dir := smallDisk(t, 4<<20)
	c := start(t, p, Options{Dir: dir, Journal: journal.Options{MaxPending: 2000, RetryEvery: 20 * time.Millisecond}})
	wides(t, c, s, 3)
	room := fill(t, dir)
	wides(t, c, s, 40)
	skip(t, c)
	skip(t, c)
	await(t, "it is said", func() bool { return alerts(c, "the journal cannot be kept") == 1 })
	if alerts(c, "no space left on device") != 1 || alerts(c, "is being kept again") != 0 {
		t.Errorf("told %v", c.View().Alerts)
	}
	// Cut off now, the show is thought to be where the journal last saw it.
	early := standsAfterACut(t, p, dir)
	if v := early.View(); !v.Held || v.Standby != 0 {
		t.Errorf("held %v, standby %d", v.Held, v.Standby)
	}
	stop(t, early)
	room()
	await(t, "it is kept again", func() bool { return alerts(c, "is being kept again") == 1 })
	wides(t, c, s, 2)
	await(t, "the journal has where the show is", func() bool {
		late := standsAfterACut(t, p, dir)
		defer stop(t, late)
		v := late.View()
		return v.Held && v.Standby == 2
	})
	if alerts(c, "the journal cannot be kept") != 1 || alerts(c, "is being kept again") != 1 {
		t.Errorf("told %v", c.View().Alerts)
	}
	stop(t, c)
	var lost, presses int32
	if _, err := journal.Read(dir, func(r journal.Record) error {
		switch r.Kind {
		case journal.Lost:
			lost += r.A
		case journal.Press:
			presses++
		}
		return nil
	}); err != nil || lost < 10 || presses >= 92 {
		t.Errorf("%d are lost, %d presses are kept, %v", lost, presses, err)
	}
	if r := replays(t, dir); r.Gaps == 0 {
		t.Errorf("the replay does not see the gap: %+v", r)
	}
}

// With no room at all, or on a disk that can only be read, a show starts all
// the same and says what that means.
func TestStartWithoutADisk(t *testing.T) {
	if !inOwnWorld(t) {
		return
	}
	s := newSink(t)
	p := mixerAt(t, s.conn.LocalAddr().String())
	retry := journal.Options{RetryEvery: 20 * time.Millisecond}
	t.Run("full", func(t *testing.T) {
		dir := smallDisk(t, 4<<20)
		room := fill(t, dir)
		c := start(t, p, Options{Dir: dir, Journal: retry})
		wides(t, c, s, 3)
		skip(t, c)
		await(t, "it is said", func() bool {
			return alerts(c, "the journal cannot be kept") == 1 && alerts(c, "the program cannot be kept") == 1
		})
		room()
		await(t, "it is kept again", func() bool { return alerts(c, "is being kept again") == 1 })
		await(t, "the program is beside it", func() bool { _, err := readProgram(dir, Digest(p)); return err == nil })
		late := standsAfterACut(t, p, dir)
		if v := late.View(); !v.Held || v.Standby != 1 {
			t.Errorf("held %v, standby %d, %v", v.Held, v.Standby, v.Alerts)
		}
		stop(t, late)
		stop(t, c)
		replays(t, dir)
	})
	for _, x := range []struct {
		name string
		held bool
	}{{"read-only, after a cut", true}, {"read-only", false}} {
		t.Run(x.name, func(t *testing.T) {
			disk := smallDisk(t, 4<<20)
			dir := filepath.Join(disk, "state")
			if x.held {
				c := start(t, p, Options{Dir: dir})
				wides(t, c, s, 1)
				skip(t, c)
				time.Sleep(50 * time.Millisecond) // for the journal
				left := cut(t, dir)
				stop(t, c)
				if err := errors.Join(os.RemoveAll(dir), os.CopyFS(dir, os.DirFS(left))); err != nil {
					t.Fatal(err)
				}
			}
			if err := syscall.Mount("none", disk, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
				t.Fatal(err)
			}
			c := start(t, p, Options{Dir: dir, Journal: retry})
			await(t, "it is said", func() bool { return alerts(c, "read-only file system") > 0 })
			if v := c.View(); v.Held != x.held || x.held && v.Standby != 1 {
				t.Errorf("held %v, standby %d", v.Held, v.Standby)
			}
			if x.held {
				went(t, c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"}))
			}
			wides(t, c, s, 3)
			if n := alerts(c, "the journal cannot be kept"); n != 1 {
				t.Errorf("told %d times", n)
			}
			if err := stopped(c); err == nil || !strings.Contains(err.Error(), "read-only") {
				t.Errorf("at the end: %v", err)
			}
		})
	}
}

// What somebody has typed wrong is no disk trouble: nothing starts.
func TestNoFolderThere(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err := Start(deaf(compiled(t)), Options{Dir: filepath.Join(file, "state"), Env: credentials}); err == nil {
		stop(t, c)
		t.Error("it starts")
	}
}

// A folder that somebody removes under a running show is noticed and made
// again, with all that a show needs to be found in it.
func TestFolderIsRemoved(t *testing.T) {
	s := newSink(t)
	p := mixerAt(t, s.conn.LocalAddr().String())
	dir := filepath.Join(t.TempDir(), "state")
	c := start(t, p, Options{Dir: dir, Journal: journal.Options{RetryEvery: 20 * time.Millisecond}})
	wides(t, c, s, 1)
	skip(t, c)
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	await(t, "it is said", func() bool {
		wides(t, c, s, 1)
		return alerts(c, "somebody has removed the file of the journal") == 1
	})
	await(t, "it is kept again", func() bool { return alerts(c, "is being kept again") == 1 })
	await(t, "the program is there again", func() bool { _, err := readProgram(dir, Digest(p)); return err == nil })
	await(t, "the journal has where the show is", func() bool { r, _, err := journal.Since(dir); return err == nil && len(r) > 0 })
	late := standsAfterACut(t, p, dir)
	if v := late.View(); !v.Held || v.Standby != 1 {
		t.Errorf("held %v, standby %d, %v", v.Held, v.Standby, v.Alerts)
	}
	stop(t, late)
	stop(t, c)
	replays(t, dir)
}
