package pair

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/lease"
	"cuewright/targets/prepare"
	"cuewright/targets/standin"
	"cuewright/targets/surface"
)

func TestMain(m *testing.M) {
	if os.Getenv(childVar) != "" {
		child()
		return
	}
	// Two goroutines of the library can outlive what they were for, once a process
	// that ends in mid-publishing: the client's waits at a channel that Close has
	// taken away before it began, the server's clock for a word that another took.
	goleak.VerifyTestMain(m,
		goleak.IgnoreTopFunction("github.com/nats-io/nats.go/jetstream.(*jetStream).resetPendingAcksOnReconnect"),
		goleak.IgnoreTopFunction("github.com/nats-io/nats-server/v2/server/ats.Register.func1"))
}

const secret = "a secret of the tests"

// compiled is a show on the small rack.
func compiled(t testing.TB, text string) *program.Program {
	t.Helper()
	rack, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, data := range map[string][]byte{"rack.yaml": rack, "test.show": []byte(text)} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r := prepare.Show(filepath.Join(dir, "test.show"), prepare.Disk)
	if r.Program == nil {
		t.Fatalf("the show cannot be prepared: %v", r.Findings)
	}
	return r.Program
}

func credentials(name string) string {
	if strings.Contains(name, "TOKEN") {
		return "token-of-the-test"
	}
	return "operator:of-the-test"
}

// lines is what the stand-ins write down.
type lines struct {
	mu  sync.Mutex
	all []line
}

type line struct {
	at   time.Time
	text string
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for text := range strings.Lines(string(b)) {
		l.all = append(l.all, line{time.Now(), strings.TrimSpace(text)})
	}
	return len(b), nil
}

func (l *lines) forget() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = nil
}

// first is when the first message with a text came, last when the last of all.
func (l *lines) first(text string) time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range l.all {
		if strings.Contains(x.text, text) {
			return x.at
		}
	}
	return time.Time{}
}

func (l *lines) last() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all[len(l.all)-1].at
}

func (l *lines) before(t time.Time) (all []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range l.all {
		if !x.at.After(t) {
			all = append(all, x.text)
		}
	}
	return all
}

// after is when the first message after a moment came.
func (l *lines) after(t time.Time) time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range l.all {
		if x.at.After(t) && strings.Contains(x.text, " hears ") {
			return x.at
		}
	}
	return time.Time{}
}

// heard are the lines with a text, of what the devices were told.
func (l *lines) heard(text string) (all []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range l.all {
		if strings.Contains(x.text, " hears ") && strings.Contains(x.text, text) {
			all = append(all, x.text)
		}
	}
	return all
}

// duo is a pair in this process: two controllers on one rack of stand-ins, with
// a proxy in each way between them and to the witness.
type duo struct {
	t       testing.TB
	program *program.Program
	out     *lines
	silence bool
	secure  Secure
	judge   *Judge
	listen  [2]string
	ways    [2]*proxy // to the partner
	votes   [2]*proxy // to the witness, or nil
	dirs    [2]string
	ends    [2]*Pair
	desks   [2]*control.Controller
	change  func(*control.Options)
}

func newDuo(t testing.TB, witness, silence bool) *duo {
	t.Helper()
	text, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		t.Fatal(err)
	}
	return newDuoOf(t, string(text), witness, silence)
}

// newDuoOf is a pair that runs a show.
func newDuoOf(t testing.TB, text string, witness, silence bool) *duo {
	t.Helper()
	out := &lines{}
	r, err := standin.Start(compiled(t, text), standin.Options{Lines: out, AnyPort: true})
	if err != nil {
		t.Fatal(err)
	}
	d := &duo{t: t, program: r.Program(), out: out, silence: silence}
	t.Cleanup(func() {
		for s := range d.desks {
			d.stop(lease.Seat(s))
		}
		for _, p := range append(d.ways[:], d.votes[:]...) {
			p.close()
		}
		if d.judge != nil {
			d.judge.Close()
		}
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	})
	for s := range d.listen {
		d.listen[s], d.dirs[s] = freeAddress(t), t.TempDir()
	}
	for s := range d.ways {
		d.ways[s] = newProxy(t, d.listen[1-s])
	}
	if witness {
		if d.judge, err = Serve(WitnessConfig{Listen: "127.0.0.1:0", Secret: secret, Dir: t.TempDir()}); err != nil {
			t.Fatal(err)
		}
		for s := range d.votes {
			d.votes[s] = newProxy(t, d.judge.Address())
		}
	}
	return d
}

// start starts one of the two.
func (d *duo) start(s lease.Seat) *control.Controller {
	d.t.Helper()
	end, err := Open(d.config(s))
	if err != nil {
		d.t.Fatal(err)
	}
	o := control.Options{Dir: d.dirs[s], Env: credentials, Pair: end}
	if d.change != nil {
		d.change(&o)
	}
	desk, err := control.Start(d.program, o)
	if err != nil {
		end.Close()
		d.t.Fatal(err)
	}
	d.ends[s], d.desks[s] = end, desk
	return desk
}

func (d *duo) config(s lease.Seat) Config {
	c := Config{Seat: s, Listen: d.listen[s], Partner: d.ways[s].address(), OnSilence: d.silence, Secret: secret, Secure: d.secure, Dir: d.dirs[s]}
	if d.judge != nil {
		c.Witness = d.votes[s].address()
	}
	return c
}

// stop ends one in order.
func (d *duo) stop(s lease.Seat) {
	if d.desks[s] == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := d.desks[s].Stop(ctx); err != nil {
		d.t.Error(err)
	}
	d.desks[s], d.ends[s] = nil, nil
}

// both starts both, and waits until one leads and the other is in step.
func (d *duo) both() (leader, follower lease.Seat) {
	d.t.Helper()
	d.start(lease.A)
	d.start(lease.B)
	return d.inStep()
}

func (d *duo) inStep() (leader, follower lease.Seat) {
	d.t.Helper()
	leader = 9
	await(d.t, "one leads and the other is in step", func() bool {
		for s := lease.A; s <= lease.B; s++ {
			if v := d.desks[s].View().Pair; v != nil && v.Leads && v.Sends && v.InStep && v.Heard {
				leader = s
				o := d.ends[1-s].Standing()
				return !o.Leads && o.InStep
			}
		}
		return false
	})
	return leader, leader.Other()
}

func (d *duo) button(label string) int32 {
	d.t.Helper()
	for i, b := range d.program.Buttons {
		if b.Label == label {
			return int32(i)
		}
	}
	d.t.Fatalf("there is no button %q", label)
	return -1
}

// tap presses a button; by tells taps apart, so that none is a bounce.
func (d *duo) tap(s lease.Seat, label, by string) surface.Answer {
	d.t.Helper()
	p := surface.Press{Kind: surface.Down, Surface: -1, Button: d.button(label), Cue: -1, By: by}
	a := d.desks[s].Press(p)
	p.Kind = surface.Up
	d.desks[s].Press(p)
	return a
}

func (d *duo) alerts(s lease.Seat) string { return fmt.Sprint(d.desks[s].View().Alerts) }

// replays holds the journals of both against themselves.
func (d *duo) replays() {
	d.t.Helper()
	for s, dir := range d.dirs {
		if r, err := control.Replay(dir); err != nil || r.Difference != "" {
			d.t.Errorf("the journal of %s: %v %s", lease.Seat(s), err, r.Difference)
		}
	}
}

func await(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("it never came about: %s", what)
}

// freeAddress is an address that nobody listens at. It lies below the ports that
// the system gives to connections (from 32768 on, ip(7)), so that it is still
// free when who had it starts again.
func freeAddress(t testing.TB) string {
	t.Helper()
	for range 100 {
		l, err := net.Listen("tcp", fmt.Sprint("127.0.0.1:", 20_000+rand.IntN(12_000)))
		if err == nil {
			defer l.Close()
			return l.Addr().String()
		}
	}
	t.Fatal("there is no free port")
	return ""
}

// proxy is a cable that can be cut: what is on it then stays on it, and
// nobody is told.
type proxy struct {
	l     net.Listener
	to    string
	group sync.WaitGroup
	mu    sync.Mutex
	cut   bool
	open  []net.Conn
	ended chan struct{}
}

func newProxy(t testing.TB, to string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{l: l, to: to, ended: make(chan struct{})}
	p.group.Go(func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			p.group.Go(func() { p.carry(from) })
		}
	})
	return p
}

func (p *proxy) address() string { return p.l.Addr().String() }

func (p *proxy) carry(from net.Conn) {
	defer from.Close()
	if !p.passes() {
		return
	}
	to, err := net.DialTimeout("tcp", p.to, time.Second)
	if err != nil {
		return
	}
	defer to.Close()
	p.mu.Lock()
	p.open = append(p.open, from, to)
	p.mu.Unlock()
	done := make(chan struct{}, 2)
	for _, w := range [][2]net.Conn{{from, to}, {to, from}} {
		p.group.Go(func() { p.copy(w[0], w[1]); done <- struct{}{} })
	}
	<-done
}

// copy carries bytes while the cable is whole.
func (p *proxy) copy(from, to net.Conn) {
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		if err != nil || !p.passes() {
			return
		}
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

// passes waits while the cable is cut; false is the end.
func (p *proxy) passes() bool {
	for {
		p.mu.Lock()
		cut := p.cut
		p.mu.Unlock()
		if !cut {
			return true
		}
		select {
		case <-p.ended:
			return false
		case <-time.After(time.Millisecond):
		}
	}
}

func (p *proxy) set(cut bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = cut
}

func (p *proxy) close() {
	if p == nil {
		return
	}
	close(p.ended)
	p.l.Close()
	p.mu.Lock()
	for _, c := range p.open {
		c.Close()
	}
	p.mu.Unlock()
	p.group.Wait()
}
