package control

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"cuewright/targets/surface"
)

// pressVar tells this binary to be the client of BenchmarkPressToDatagram: a
// process of its own with a thread that waits in system calls, as a surface and
// a device would be, so that nobody's scheduler is between the two.
const pressVar = "CUEWRIGHT_TEST_CLIENT"

func init() {
	if words := os.Getenv(pressVar); words != "" {
		client = func() error { return takeTurns(words) }
	}
}

// takeTurns takes turns at an echo server and at the controller, as the words say:
// its own port, theirs, the pause in nanoseconds; for each line of its input
// one round, after which it writes the two times in nanoseconds.
func takeTurns(words string) error {
	runtime.LockOSThread()
	var own, echo, desk, pause int
	if _, err := fmt.Sscan(words, &own, &echo, &desk, &pause); err != nil {
		return err
	}
	fd, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_DGRAM, 0)
	if err != nil {
		return err
	}
	at := func(port int) *syscall.SockaddrInet4 {
		return &syscall.SockaddrInet4{Port: port, Addr: [4]byte{127, 0, 0, 1}}
	}
	if err := syscall.Bind(fd, at(own)); err != nil {
		return err
	}
	if err := syscall.SetsockoptTimeval(fd, syscall.SOL_SOCKET, syscall.SO_RCVTIMEO, &syscall.Timeval{Sec: 5}); err != nil {
		return err
	}
	buf := make([]byte, 2048)
	round := func(port int) (time.Duration, error) {
		time.Sleep(time.Duration(pause))
		began := time.Now()
		if err := syscall.Sendto(fd, buf[:24], 0, at(port)); err != nil {
			return 0, err
		}
		for {
			_, _, err := syscall.Recvfrom(fd, buf, 0)
			if err != syscall.EINTR { // a signal of Go's own runtime
				return time.Since(began), err
			}
		}
	}
	var n int
	if _, err := fmt.Fscan(os.Stdin, &n); err != nil {
		return err
	}
	var times [2][]time.Duration
	for i := range n + 200 {
		for which, port := range []int{echo, desk} {
			took, err := round(port)
			if err != nil {
				return err
			}
			if i >= 200 {
				times[which] = append(times[which], took)
			}
		}
	}
	return json.NewEncoder(os.Stdout).Encode(times)
}

// BenchmarkPressToDatagram is the time from a datagram that is a press to the
// datagram that it sends, with the journal on, beside that of a bare echo
// server of Go, turn by turn in one run. A press comes every millisecond, as in
// the second column of the notes' table, or back to back.
func BenchmarkPressToDatagram(b *testing.B) {
	for _, pause := range []time.Duration{0, time.Millisecond} {
		b.Run("every-"+pause.String(), func(b *testing.B) { pressToDatagram(b, pause) })
	}
}

func port(c *net.UDPConn) int { return c.LocalAddr().(*net.UDPAddr).Port }

func pressToDatagram(b *testing.B, pause time.Duration) {
	echo, desk, free := local(b), local(b), local(b)
	own := port(free)
	free.Close()
	var group sync.WaitGroup
	group.Go(func() {
		buf := make([]byte, 2048)
		for {
			n, from, err := echo.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			_, _ = echo.WriteToUDPAddrPort(buf[:n], from)
		}
	})
	p := mixerAt(b, "127.0.0.1:"+strconv.Itoa(own))
	c := start(b, p, Options{Dir: b.TempDir()})
	names := make([]string, 1000) // so that nobody is taken to bounce
	for i := range names {
		names[i] = strconv.Itoa(i)
	}
	wide := button(b, p, "Wide")
	group.Go(func() {
		buf := make([]byte, 2048)
		for i := 0; ; i++ {
			if _, err := desk.Read(buf); err != nil {
				return
			}
			c.Press(surface.Press{Kind: surface.Down, Surface: 0, Button: wide, By: names[i%len(names)]})
		}
	})
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d %d %d", pressVar, own, port(echo), port(desk), pause.Nanoseconds()))
	cmd.Stderr = os.Stderr
	cmd.Stdin = strings.NewReader(strconv.Itoa(b.N))
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	var times [2][]time.Duration
	if err := json.NewDecoder(bufio.NewReader(out)).Decode(&times); err != nil {
		b.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		b.Fatal(err)
	}
	f50, f99 := quantiles(b, "echo", times[0])
	o50, o99 := quantiles(b, "ours", times[1])
	b.ReportMetric(o50/f50, "p50-ratio")
	b.ReportMetric(o99/f99, "p99-ratio")
	stop(b, c)
	echo.Close()
	desk.Close()
	group.Wait()
}
