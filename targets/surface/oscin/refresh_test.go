package oscin

import (
	"strings"
	"testing"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface/surfacetest"
)

// TestWhoComesLater: on each wire a change is told to whoever is there, and
// whoever comes, or comes again, is told all as it is by then: label, lamp,
// page, standby, alerts.
func TestWhoComesLater(t *testing.T) {
	as := []string{`/page/desk "crew"`, `/lamp/desk/1/1 "Back" "`, `/lamp/desk/3/5 "" "dark" "none"`, `/standby "" ""`, `/alert "start again"`}
	for _, wire := range wires {
		t.Run(wire, func(t *testing.T) {
			d := surfacetest.New(t, surfacetest.Show(t))
			s := serve(t, d, Config{Wire: wire}, patience)
			first := newBoard(t, s)
			first.say("/watch")
			first.hears(`/page/desk "cameras"`)
			first.hears("/lamp/side_desk/2/4")
			first.say("/finger/desk/3/4", osc.Int32(1))
			first.hearsAll(as[:3]...)
			first.say("/finger/desk/3/4", osc.Int32(0))
			first.say("/rundown/go", osc.String("3.5"))
			first.hearsAll(as[3:]...)
			again := newBoard(t, s)
			again.say("/watch")
			again.hearsAll(as...)
			first.say("/watch")
			first.hearsAll(as...)
		})
	}
}

// hearsAll waits for lines that begin so, in any order.
func (b *board) hearsAll(wanted ...string) {
	b.t.Helper()
	missing := map[string]bool{}
	for _, want := range wanted {
		missing[want] = true
	}
	for late := time.After(5 * time.Second); len(missing) > 0; {
		select {
		case l := <-b.lines:
			for want := range missing {
				if strings.HasPrefix(l, want) {
					delete(missing, want)
				}
			}
		case <-late:
			b.t.Fatalf("it was never told %v", missing)
		}
	}
}

// TestLostDatagrams: by UDP all is told anew without being asked, since nobody
// notices that a datagram was lost; by TCP nothing is lost, and nothing told
// twice.
func TestLostDatagrams(t *testing.T) {
	for _, wire := range wires {
		t.Run(wire, func(t *testing.T) {
			t.Parallel()
			d := surfacetest.New(t, surfacetest.Show(t))
			b := newBoard(t, serve(t, d, Config{Wire: wire}, 600*time.Millisecond))
			b.say("/watch")
			b.hears("/lamp/desk/1/1")
			told := 0
			for end := time.Now().Add(5 * time.Second); told == 0 && time.Now().Before(end); {
				b.say("/nothing") // so that it is not forgotten
				wait := time.After(50 * time.Millisecond)
				for waits := true; waits; {
					select {
					case l := <-b.lines:
						if strings.HasPrefix(l, "/lamp/desk/1/1 ") {
							told++
						}
					case <-wait:
						waits = false
					}
				}
				if wire != "osc.udp" && time.Until(end) < 3*time.Second {
					break // three times as long as it takes by UDP
				}
			}
			if want := map[bool]int{true: 1, false: 0}[wire == "osc.udp"]; told != want {
				t.Errorf("told %d more times, want %d", told, want)
			}
		})
	}
}
