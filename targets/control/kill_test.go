package control

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// The test kills a controller of its own: this binary, run again with the
// folder of its journal and the address of its mixer in the environment.
const childVar, mixerVar = "CUEWRIGHT_TEST_CHILD", "CUEWRIGHT_TEST_MIXER"

func childOf() string { return os.Getenv(childVar) }

// child presses two buttons in turn, without a pause to speak of, until it is
// killed. It says whether it is held, and waits for a line before it resumes.
func child(dir string) {
	c, err := childShow(dir)
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	if c.View().Held {
		time.Sleep(20 * time.Millisecond)
		fmt.Println("held")
	} else {
		fmt.Println("new")
	}
	_, _ = bufio.NewReader(os.Stdin).ReadString('\n')
	c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"})
	for i := 0; ; i++ {
		c.Press(surface.Press{Kind: surface.Down, Surface: -1, Button: int32(i % 2), Cue: -1, By: strconv.Itoa(i)})
		c.Press(surface.Press{Kind: surface.Up, Surface: -1, Button: int32(i % 2), Cue: -1, By: strconv.Itoa(i)})
		time.Sleep(200 * time.Microsecond) // some thousand presses in a second; more than a device's queue is refused, and said
	}
}

func childShow(dir string) (*Controller, error) {
	r := prepare.Show("../../testdata/shows/small/small.show", prepare.Disk)
	return Start(deaf(r.Program), Options{Dir: dir, Env: credentials, Devices: func(p *program.Program) ([]program.Device, error) {
		devices := make([]program.Device, len(p.Devices))
		for i, d := range p.Devices {
			if d.Wire = ""; d.Name == "mixer" {
				d.Wire, d.Address = "osc.udp", os.Getenv(mixerVar)
			}
			devices[i] = d
		}
		return devices, nil
	}})
}

// sink is a mixer that writes down what it is told.
type sink struct {
	conn *net.UDPConn
	mu   sync.Mutex
	all  []string
}

func newSink(t *testing.T) *sink {
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	_ = conn.SetReadBuffer(8 << 20)
	s := &sink{conn: conn}
	var reading sync.WaitGroup
	reading.Go(func() {
		buf := make([]byte, 2048)
		for {
			n, err := conn.Read(buf)
			if err != nil {
				return
			}
			s.mu.Lock()
			s.all = append(s.all, string(buf[:n]))
			s.mu.Unlock()
		}
	})
	t.Cleanup(func() { conn.Close(); reading.Wait() })
	return s
}

// take is what came since the last take.
func (s *sink) take() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := s.all
	s.all = nil
	return all
}

func (s *sink) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.all)
}

// Killed at any moment, the controller has sent each press once, begins again
// held, sends nothing before it is resumed, and its journal replays: all that
// it says was done has been sent, and next to nothing that was sent is missing.
func TestKill(t *testing.T) {
	times := 30
	if n, err := strconv.Atoi(os.Getenv("CUEWRIGHT_KILLS")); err == nil {
		times = n
	} else if testing.Short() {
		times = 3
	}
	s, dir := newSink(t), t.TempDir()
	missing, sent := 0, 0
	for i := range times {
		if i%10 == 0 {
			dir = t.TempDir() // or the replay of all takes ever longer
		}
		before := journalled(t, dir)
		killOne(t, s, dir, before[2] > 0)
		got := s.take()
		for n := 1; n < len(got); n++ {
			if got[n] == got[n-1] {
				t.Fatalf("run %d: message %d of %d came twice, or one between was lost", i, n, len(got))
			}
		}
		now := journalled(t, dir)
		if now[1]-before[1] > len(got) {
			t.Errorf("run %d: %d are said to be done and %d have come", i, now[1]-before[1], len(got))
		}
		missing += max(0, len(got)-(now[0]-before[0]))
		sent += len(got)
		replays(t, dir)
	}
	t.Logf("%d messages over %d kills, of which the journal misses %d", sent, times, missing)
	if sent < times || missing > 50*times {
		t.Errorf("%d sent, %d missing", sent, missing)
	}
}

// journalled is how many messages a journal has as sent, and as done, and how
// many events.
func journalled(t *testing.T, dir string) (n [3]int) {
	if _, err := journal.Read(dir, func(r journal.Record) error {
		switch {
		case r.Kind == journal.Sent:
			n[0]++
		case r.Kind == journal.Outcome && r.D == 0:
			n[1]++
		case r.Kind == journal.Event:
			n[2]++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return n
}

// killOne runs a child and kills it a while after it has begun to press.
func killOne(t *testing.T, s *sink, dir string, held bool) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childVar+"="+dir, mixerVar+"="+s.conn.LocalAddr().String())
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	r := bufio.NewReader(out)
	line, _ := r.ReadString('\n')
	if strings.TrimSpace(line) == "held" != held {
		t.Errorf("it said %q, held should be %v", line, held)
	}
	if n := s.count(); n > 0 {
		t.Errorf("%d messages before anybody resumed", n)
	}
	if _, err := in.Write([]byte("\n")); err != nil {
		t.Error(err)
	}
	time.Sleep(time.Duration(rand.IntN(60_000)) * time.Microsecond)
	if err := cmd.Process.Kill(); err != nil {
		t.Error(err)
	}
	_ = cmd.Wait() // killed, as it should be
	time.Sleep(2 * time.Millisecond)
}
