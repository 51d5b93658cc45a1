package control

import (
	"net"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/surface"
)

// quantiles reports p50 and p99 of durations, in microseconds.
func quantiles(b *testing.B, name string, all []time.Duration) (p50, p99 float64) {
	slices.Sort(all)
	p50 = float64(all[len(all)/2].Nanoseconds()) / 1e3
	p99 = float64(all[len(all)*99/100].Nanoseconds()) / 1e3
	b.ReportMetric(p50, name+"-p50-µs")
	b.ReportMetric(p99, name+"-p99-µs")
	return p50, p99
}

func local(b *testing.B) *net.UDPConn {
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close() })
	_ = conn.SetReadBuffer(4 << 20)
	return conn
}

// mixerAt is the small show of which only the mixer is sent to.
func mixerAt(b testing.TB, address string) *program.Program {
	p := at(deaf(compiled(b)), "mixer", "osc.udp", address)
	for i := range p.Devices {
		if p.Devices[i].Name != "mixer" {
			p.Devices[i].Wire = ""
		}
	}
	return p
}

// BenchmarkManySurfaces is 64 surfaces that press 20 times a second each for
// ten seconds, with the journal on: what was lost, what came twice, and how
// much larger the heap is at the end than after the first two seconds.
func BenchmarkManySurfaces(b *testing.B) {
	for b.Loop() {
		manySurfaces(b)
	}
}

func manySurfaces(b *testing.B) {
	const surfaces, rate, seconds = 64, 20, 10
	conn := local(b)
	var heard int
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 2048)
		for {
			_ = conn.SetReadDeadline(time.Now().Add(3 * time.Second))
			if _, err := conn.Read(buf); err != nil {
				return
			}
			heard++
		}
	}()
	p := mixerAt(b, conn.LocalAddr().String())
	c := start(b, p, Options{Dir: b.TempDir()})
	wide := button(b, p, "Wide")
	took := make([][]time.Duration, surfaces)
	var group sync.WaitGroup
	heap := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	begin := time.Now()
	for i := range surfaces {
		group.Go(func() {
			name := "surface " + strconv.Itoa(i)
			for n := range rate * seconds {
				time.Sleep(time.Until(begin.Add(time.Duration(n)*time.Second/rate + time.Duration(i)*time.Millisecond/2)))
				began := time.Now()
				if a := c.Press(surface.Press{Kind: surface.Down, Surface: 0, Button: wide, By: name, Number: uint64(n + 1)}); a.Outcome != surface.Done {
					b.Errorf("%+v", a)
				}
				took[i] = append(took[i], time.Since(began))
			}
		})
	}
	time.Sleep(2 * time.Second)
	early := heap()
	group.Wait()
	grown := heap() - early
	stop(b, c)
	<-done
	quantiles(b, "answer", slices.Concat(took...))
	b.ReportMetric(float64(surfaces*rate*seconds), "presses")
	b.ReportMetric(float64(surfaces*rate*seconds-heard), "lost")
	b.ReportMetric(float64(grown)/1024, "heap-growth-KiB")
	if heard != surfaces*rate*seconds {
		b.Errorf("%d presses, and the mixer was told %d times", surfaces*rate*seconds, heard)
	}
}

// BenchmarkLateness is how late waiting ends, by the alarm of this system, by
// the runtime's timer, and by sleeping, turn by turn in one run.
func BenchmarkLateness(b *testing.B) {
	for _, period := range []time.Duration{time.Millisecond, 40 * time.Millisecond} {
		b.Run(period.String(), func(b *testing.B) { lateness(b, period) })
	}
}

func lateness(b *testing.B, period time.Duration) {
	c := startClock(0)
	system, err := c.alarm()
	if err != nil {
		b.Fatal(err)
	}
	defer system.close()
	own := newTimerAlarm(c)
	defer own.close()
	wait := func(a alarm) time.Duration {
		due := c.now() + period.Microseconds()
		a.set(due)
		<-a.rings()
		return time.Since(c.start.Add(time.Duration(due) * time.Microsecond))
	}
	var bySystem, byRuntime, bySleep []time.Duration
	for b.Loop() {
		bySystem = append(bySystem, wait(system))
		byRuntime = append(byRuntime, wait(own))
		due := time.Now().Add(period)
		time.Sleep(period)
		bySleep = append(bySleep, time.Since(due))
	}
	quantiles(b, "alarm", bySystem)
	quantiles(b, "timer", byRuntime)
	quantiles(b, "sleep", bySleep)
}
