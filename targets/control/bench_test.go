package control

import (
	"bytes"
	"hash"
	"hash/fnv"
	"net"
	"os"
	"slices"
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
	return onlyMixer(compiled(b), address)
}

func onlyMixer(of *program.Program, address string) *program.Program {
	p := at(deaf(of), "mixer", "osc.udp", address)
	for i := range p.Devices {
		if p.Devices[i].Name != "mixer" {
			p.Devices[i].Wire = ""
		}
	}
	return p
}

// BenchmarkManySurfaces is 64 surfaces that press 20 times a second each, every
// other one another button, with the journal on, for ten seconds or for as long
// as CUEWRIGHT_LOAD says. What the mixer heard must be what the journal says, in
// the same order: then nothing was lost and nothing came twice. It reports the
// resident memory after a tenth, a half and all of the time.
func BenchmarkManySurfaces(b *testing.B) {
	lasts := 10 * time.Second
	if said := os.Getenv("CUEWRIGHT_LOAD"); said != "" {
		var err error
		if lasts, err = time.ParseDuration(said); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		manySurfaces(b, lasts)
	}
}

// plain is the small show with a Goal that nobody holds.
func plain(path string) ([]byte, error) {
	text, err := prepare.Disk(path)
	return bytes.Replace(text, []byte("hold 1s { recall goal shot 2 }"), nil, 1), err
}

// digest is how many packets there were, and their bytes in order.
type digest struct {
	n   int
	sum hash.Hash64
}

func newDigest() *digest { return &digest{sum: fnv.New64a()} }

func (d *digest) add(packet []byte) {
	d.n++
	_, _ = d.sum.Write(packet)
}

func manySurfaces(b *testing.B, lasts time.Duration) {
	const surfaces, rate, finger = 64, 20, 30 * time.Millisecond
	each := int(lasts/time.Second) * rate
	conn, heard := local(b), newDigest()
	var mixer sync.WaitGroup
	mixer.Go(func() {
		buf := make([]byte, 2048)
		for {
			_ = conn.SetReadDeadline(time.Now().Add(3 * time.Second))
			n, err := conn.Read(buf)
			if err != nil {
				return
			}
			heard.add(buf[:n])
		}
	})
	prepared := prepare.Show("../../testdata/shows/small/small.show", plain)
	p := onlyMixer(prepared.Program, conn.LocalAddr().String())
	dir := b.TempDir()
	c := start(b, p, Options{Dir: dir})
	buttons := []int32{button(b, p, "Wide"), button(b, p, "Goal")}
	answers := make([][10 * rate]time.Duration, surfaces) // of the last ten seconds
	var group sync.WaitGroup
	begin := time.Now()
	for i := range surfaces {
		group.Go(func() {
			name := "surface " + strconv.Itoa(i)
			var lifted time.Time
			for n := range each {
				time.Sleep(time.Until(begin.Add(time.Duration(n)*time.Second/rate + time.Duration(i)*time.Millisecond/2)))
				if since := time.Since(lifted); since < finger { // after a stall: no finger makes up for it by bouncing
					time.Sleep(finger - since)
				}
				began := time.Now()
				a := c.Press(surface.Press{Kind: surface.Down, Surface: 0, Button: buttons[i%2], By: name, Number: uint64(n + 1)})
				lifted = time.Now()
				answers[i][n%len(answers[i])] = lifted.Sub(began)
				if a.Outcome != surface.Done {
					b.Errorf("%+v", a)
					return // once is enough
				}
			}
		})
	}
	for _, tenths := range []time.Duration{1, 5, 10} {
		time.Sleep(time.Until(begin.Add(lasts * tenths / 10)))
		b.ReportMetric(float64(resident(b))/1024, "resident-"+(lasts*tenths/10).String()+"-MiB")
	}
	group.Wait()
	stop(b, c)
	mixer.Wait()
	var all []time.Duration
	for i := range answers {
		all = append(all, answers[i][:]...)
	}
	quantiles(b, "answer", all)
	said, size := sentBy(b, dir)
	b.ReportMetric(float64(surfaces*each), "presses")
	b.ReportMetric(float64(heard.n), "heard")
	b.ReportMetric(float64(size)/(1<<20), "journal-MiB")
	if heard.n != surfaces*each || said.n != heard.n || said.sum.Sum64() != heard.sum.Sum64() {
		b.Errorf("%d presses; the journal has %d messages and the mixer was told %d, in the same order: %v",
			surfaces*each, said.n, heard.n, said.sum.Sum64() == heard.sum.Sum64())
	}
}

// sentBy is what a journal says was sent, and the bytes that it takes.
func sentBy(b *testing.B, dir string) (sent *digest, size int64) {
	sent = newDigest()
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == journal.Sent {
			sent.add(r.Data)
		}
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	names, err := journal.Files(dir)
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range names {
		info, err := os.Stat(name)
		if err != nil {
			b.Fatal(err)
		}
		size += info.Size()
	}
	return sent, size
}

// resident is this process's resident memory in KiB, 0 where the system does
// not say (proc(5), VmRSS).
func resident(b *testing.B) int64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	n, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
	if err != nil {
		b.Fatal(err)
	}
	return n
}
