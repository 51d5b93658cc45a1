package oscin

import (
	"bufio"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// The peers are liblo's oscsend and oscdump (Debian package liblo-tools).
// Where they are missing the tests are skipped, unless CUEWRIGHT_PEERS is 1.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CUEWRIGHT_PEERS") == "1" {
		t.Fatal(name + " is not here (Debian package liblo-tools)")
	}
	t.Skip(name + " is not here; set CUEWRIGHT_PEERS=1 to make this a failure")
	return ""
}

// TestLibloPresses: oscsend presses, with each type that a switch may send.
func TestLibloPresses(t *testing.T) {
	oscsend := tool(t, "oscsend")
	for _, wire := range []string{"osc.udp", "osc.tcp"} {
		for _, args := range [][]string{{"i", "1"}, {"T"}, {"f", "1"}, {"ih", "1", "12"}} {
			t.Run(wire+" "+args[0], func(t *testing.T) {
				d := surfacetest.New(t, surfacetest.Show(t))
				s := serve(t, d, Config{Wire: wire}, patience)
				url := wire + "://127.0.0.1:" + strconv.Itoa(int(s.Addr().Port()))
				out, err := exec.Command(oscsend, append([]string{url, "/finger/desk/1/2"}, args...)...).CombinedOutput()
				if err != nil {
					t.Fatalf("%v: %s", err, out)
				}
				d.Await(t, "a press", func(*surface.View) bool { return len(d.Pressed()) > 0 })
				if p := d.Pressed()[0]; p.Kind != surface.Down || p.Button != d.Button(t, "cameras", 1, 2) || len(args) > 2 && p.Number != 12 {
					t.Errorf("pressed %+v", p)
				}
			})
		}
	}
}

// TestLibloReadsLamps: oscdump prints a full refresh as it is meant. It cannot
// subscribe by itself, so the test sends what a subscriber is sent.
func TestLibloReadsLamps(t *testing.T) {
	oscdump := tool(t, "oscdump")
	d := surfacetest.New(t, surfacetest.Show(t))
	free, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	at := free.LocalAddr().(*net.UDPAddr)
	_ = free.Close()
	cmd := exec.Command(oscdump, "-L", strconv.Itoa(at.Port))
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	lines := make(chan string, 256)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			_, text, _ := strings.Cut(s.Text(), " ")
			lines <- strings.TrimSpace(text)
		}
	}()
	socket, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	to := netip.AddrPortFrom(netip.AddrFrom4([4]byte{127, 0, 0, 1}), uint16(at.Port))
	want := []string{`/show sssF "Small show"`, `/standby ss "1" "Doors"`, `/page/desk s "cameras"`, `/lamp/desk/3/5 sss "Stop" "lit" "shut"`}
	for late := time.After(10 * time.Second); len(want) > 0; {
		packets := refresh(t, d.View())
		if _, err := socket.WriteToUDPAddrPort(packets, to); err != nil {
			t.Logf("not yet: %v", err)
		}
		for more := true; more && len(want) > 0; {
			select {
			case l := <-lines:
				if strings.HasPrefix(l, want[0]) {
					want = want[1:]
				}
			case <-time.After(200 * time.Millisecond):
				more = false
			case <-late:
				t.Fatalf("oscdump never printed %q", want)
			}
		}
	}
}

// refresh is a full refresh as one bundle.
func refresh(t *testing.T, v *surface.View) []byte {
	t.Helper()
	var all [][]byte
	picture(v, "", func(address string, args ...osc.Arg) {
		packet, err := osc.AppendMessage(nil, address, args...)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, packet)
	})
	bundle, err := osc.AppendBundle(nil, osc.Immediately, all...)
	if err != nil {
		t.Fatal(err)
	}
	return bundle
}
