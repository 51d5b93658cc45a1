package keys

import (
	"io"
	"testing"
	"time"

	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// TestDevice: a device is told its lamps when it is there and when they change,
// while its keys press. A terminal stands for it: it can be waited for and
// written to, as an event device can.
func TestDevice(t *testing.T) {
	other, path := surfacetest.Terminal(t)
	d := surfacetest.New(t, surfacetest.Show(t))
	s, err := Start(d, Config{File: path, Surface: "desk", Bits: 64})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	read := func(n int) string {
		t.Helper()
		_ = other.SetReadDeadline(time.Now().Add(5 * time.Second))
		b := make([]byte, n*24)
		if _, err := io.ReadFull(other, b); err != nil {
			t.Fatal(err)
		}
		return events(b, 64)
	}
	if got := read(4); got != "wrong off, refused off, open off, report" {
		t.Errorf("at first %q", got)
	}
	if _, err := other.Write(recorded(64, key(6, 1), key(6, 0))); err != nil { // 5: no button
		t.Fatal(err)
	}
	if _, err := other.Write(recorded(64, key(2, 1), key(2, 0))); err != nil {
		t.Fatal(err)
	}
	d.Await(t, "Wide was pressed", func(*surface.View) bool { return pressed(d) == "Wide down, Wide up" })
	d.Hold()
	if got := read(2); got != "refused on, report" {
		t.Errorf("held: %q", got)
	}
	_ = other.Close()
}
