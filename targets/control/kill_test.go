package control

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
	"cuewright/targets/surface/oscin"
	"cuewright/targets/surface/web"
)

// The test kills a controller of its own: this binary, run again with the
// folder of its journal in the environment, where the show lies beside it.
const childVar = "CUEWRIGHT_TEST_CHILD"

func childOf() string { return os.Getenv(childVar) }

// killSurfaces are how many surfaces press: the first two by datagrams, then
// one by TCP and one by HTTP.
const killSurfaces = 4

// killShow writes a show with a surface for each, whose two buttons switch an
// outlet of its own on and off at four devices, which differ in their wire.
func killShow(t *testing.T, dir string, at map[string]string) string {
	t.Helper()
	var rack, show strings.Builder
	rack.WriteString("rack: Kills\nrate: 50\ndevices:\n")
	for name := range at {
		fmt.Fprintf(&rack, "  %s: { kind: power, outlets: { %s1: 1, %s2: 2, %s3: 3, %s4: 4 } }\n", name, name, name, name, name)
	}
	rack.WriteString("surfaces:\n")
	show.WriteString("show \"Kills\" uses \"rack.yaml\"\n")
	for n := 1; n <= killSurfaces; n++ {
		fmt.Fprintf(&rack, "  desk%d: { rows: 1, columns: 2, by: osc }\n", n)
		fmt.Fprintf(&show, "\npage page%d on desk%d {\n", n, n)
		for column, word := range []string{"on", "off"} {
			fmt.Fprintf(&show, "  button 1.%d \"%s\" {", column+1, word)
			for name := range at {
				fmt.Fprintf(&show, " switch %s%d %s;", name, n, word)
			}
			show.WriteString(" }\n")
		}
		show.WriteString("}\n")
	}
	rack.WriteString("control:\n")
	for name, url := range at {
		does := `osc: "/outlet/{outlet.number}", args: [on]`
		if strings.HasPrefix(url, "http") {
			does = `request: "PUT /outlet/{outlet.number}", json: { on: "{on}" }`
		}
		fmt.Fprintf(&rack, "  %s: { to: \"%s\", does: { switch: { %s } } }\n", name, url, does)
	}
	for name, text := range map[string]string{"rack.yaml": rack.String(), "kills.show": show.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "kills.show")
}

// hello is what a child says first.
type hello struct {
	Held           bool
	UDP, TCP, HTTP string
	On             map[string]bool // each outlet
}

// child runs the show until it is killed. It waits for a line before it
// resumes.
func child(dir string) {
	if err := childRuns(dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func childRuns(dir string) error {
	r := prepare.Show(filepath.Join(filepath.Dir(dir), "kills.show"), prepare.Disk)
	if r.Program == nil {
		return fmt.Errorf("%v", r.Findings)
	}
	c, err := Start(r.Program, Options{Dir: dir})
	if err != nil {
		return err
	}
	udp, err := oscin.Listen(c, oscin.Config{Wire: "osc.udp", Address: "127.0.0.1:0"})
	if err != nil {
		return err
	}
	tcp, err := oscin.Listen(c, oscin.Config{Wire: "osc.tcp", Address: "127.0.0.1:0"})
	if err != nil {
		return err
	}
	tablets, err := web.Listen(c, web.Config{Address: "127.0.0.1:0"})
	if err != nil {
		return err
	}
	h := hello{c.View().Held, udp.Addr().String(), tcp.Addr().String(), tablets.URL(), map[string]bool{}}
	look(c, func(s *show) {
		for _, o := range s.p.Outlets {
			h.On[o.Name] = s.m.L.Get(s.state, o.On) == 1
		}
	})
	time.Sleep(20 * time.Millisecond) // for what it must not send
	if err := json.NewEncoder(os.Stdout).Encode(h); err != nil {
		return err
	}
	_, _ = bufio.NewReader(os.Stdin).ReadString('\n')
	c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"})
	select {}
}

// switched is an outlet that was switched, as a device was told.
type switched struct {
	outlet string
	on     bool
}

// strips are the devices: what each was told, in order.
type strips struct {
	mu  sync.Mutex
	all map[string][]switched
	at  map[string]string
}

func (s *strips) add(device string, number string, on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all[device] = append(s.all[device], switched{device + number, on})
}

// take is what came since the last take.
func (s *strips) take() map[string][]switched {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := s.all
	s.all = map[string][]switched{}
	return all
}

func (s *strips) count() (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, all := range s.all {
		n += len(all)
	}
	return n
}

func newStrips(t *testing.T) *strips {
	t.Helper()
	s := &strips{all: map[string][]switched{}, at: map[string]string{}}
	hears := func(device string) osc.Handler {
		return func(packet []byte, _ osc.From) {
			p, err := osc.Decode(packet)
			if err != nil {
				t.Errorf("%s is told %x: %v", device, packet, err)
				return
			}
			osc.Each(p, func(m osc.Message) { s.add(device, strings.TrimPrefix(m.Path, "/outlet/"), m.Args[0].Tag == 'T') })
		}
	}
	for device, listen := range map[string]func(osc.Handler) (*osc.Receiver, error){
		"osc.udp":  func(h osc.Handler) (*osc.Receiver, error) { return osc.ListenUDP("127.0.0.1:0", h) },
		"osc.tcp":  func(h osc.Handler) (*osc.Receiver, error) { return osc.ListenTCP("127.0.0.1:0", osc.Sized, h) },
		"osc.slip": func(h osc.Handler) (*osc.Receiver, error) { return osc.ListenTCP("127.0.0.1:0", osc.SLIP, h) },
	} {
		name := strings.TrimPrefix(device, "osc.")
		r, err := listen(hears(name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = r.Close() })
		s.at[name] = device + "://" + r.Addr().String()
	}
	asked := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var body struct{ On bool }
		if err := json.NewDecoder(r.Body).Decode(&body); err != nil || r.Method != "PUT" {
			t.Errorf("%s %s: %v", r.Method, r.URL, err)
		}
		s.add("http", strings.TrimPrefix(r.URL.Path, "/outlet/"), body.On)
	}))
	t.Cleanup(asked.Close)
	s.at["http"] = asked.URL
	return s
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

func (s *sink) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.all)
}

// Killed at any moment while surfaces of every kind press, the controller has
// told each of its devices what each surface pressed: nothing twice, nothing
// out of order, and nothing left out. What the journal has as sent is what the
// devices were told, but for the end of either, and what it says was done they
// were told. The next start stands where the journal's events lead, is held,
// and sends nothing before it is resumed. The journal replays.
func TestKill(t *testing.T) {
	times := 30
	if n, err := strconv.Atoi(os.Getenv("CUEWRIGHT_KILLS")); err == nil {
		times = n
	} else if testing.Short() {
		times = 3
	}
	s := newStrips(t)
	var sum killed
	dir := ""
	for i := range times {
		if i%10 == 0 {
			dir = filepath.Join(t.TempDir(), "state") // or the replay of all takes ever longer
			killShow(t, filepath.Dir(dir), s.at)
		}
		sum.add(killOne(t, s, dir))
		replays(t, dir)
		if t.Failed() {
			t.Fatalf("at kill %d", i)
		}
	}
	t.Logf("%d kills: %d presses answered, %d messages had come; the journal misses %d of them, and has %d that were still to be sent",
		times, sum.answered, sum.told, sum.unwritten, sum.unsent)
	if sum.told < times || sum.answered < times/3 {
		t.Error("there was no load to speak of")
	}
	if sum.unwritten > 50*times || sum.unsent > 50*times {
		t.Error("the journal is far behind, or far ahead")
	}
}

// killed is what came of some kills.
type killed struct{ answered, told, unwritten, unsent int }

func (k *killed) add(more killed) {
	k.answered += more.answered
	k.told += more.told
	k.unwritten += more.unwritten
	k.unsent += more.unsent
}

// killOne runs a child, presses, kills it, and holds what the devices were
// told against what the journal says.
func killOne(t *testing.T, s *strips, dir string) (sum killed) {
	t.Helper()
	p := prepare.Show(filepath.Join(filepath.Dir(dir), "kills.show"), prepare.Disk).Program
	want, held := wanted(t, p, dir)
	c := startChild(t, dir)
	defer c.kill(t)
	if c.Held != held {
		t.Errorf("held %v, want %v", c.Held, held)
	}
	for _, o := range p.Outlets {
		if on := want.m.L.Get(want.state, o.On) == 1; c.On[o.Name] != on {
			t.Errorf("%s is on: %v, and in the journal: %v", o.Name, c.On[o.Name], on)
		}
	}
	if n := s.count(); n > 0 {
		t.Errorf("%d messages before anybody resumed", n)
	}
	sum.answered = c.pressUntilKilled(t, time.Duration(rand.IntN(100_000))*time.Microsecond)
	time.Sleep(5 * time.Millisecond) // for what is on its way to the devices
	told := s.take()
	sent, done := lastSession(t, p, dir)
	for device, all := range told {
		sum.told += len(all)
		once(t, device, all)
	}
	for _, d := range p.Devices {
		if n := min(len(told[d.Name]), len(sent[d.Name])); !slices.Equal(told[d.Name][:n], sent[d.Name][:n]) {
			t.Errorf("%s was told %v, and the journal has %v", d.Name, told[d.Name], sent[d.Name])
		}
		if len(told[d.Name]) < done[d.Name] {
			t.Errorf("%s was told %d, and %d are said to be done", d.Name, len(told[d.Name]), done[d.Name])
		}
		sum.unwritten += max(0, len(told[d.Name])-len(sent[d.Name]))
		sum.unsent += max(0, len(sent[d.Name])-len(told[d.Name]))
	}
	return sum
}

// once says whether every outlet was switched on and off in turn, as it was
// pressed: another one means that a message came twice or was left out.
func once(t *testing.T, device string, all []switched) {
	t.Helper()
	next := map[string]bool{}
	for i, x := range all {
		if on, ok := next[x.outlet]; ok && on != x.on {
			t.Errorf("%s: message %d of %d came twice, or one before it did not come: %v", device, i, len(all), all)
			return
		}
		next[x.outlet] = !x.on
	}
}

// lastSession is what the journal's last session has as sent, by device, and
// how many messages as done.
func lastSession(t *testing.T, p *program.Program, dir string) (sent map[string][]switched, done map[string]int) {
	t.Helper()
	if _, err := journal.Read(dir, func(r journal.Record) error {
		switch {
		case r.Kind == journal.Session:
			sent, done = map[string][]switched{}, map[string]int{}
		case r.Kind == journal.Sent:
			c := p.Messages[r.B].Command
			sent[p.Devices[r.A].Name] = append(sent[p.Devices[r.A].Name], switched{p.Outlets[c.A].Name, c.B == 1})
		case r.Kind == journal.Outcome && r.D == 0:
			done[p.Devices[r.A].Name]++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return sent, done
}

// victim is a child that runs.
type victim struct {
	hello
	cmd *exec.Cmd
	in  io.Writer
}

func startChild(t *testing.T, dir string) *victim {
	t.Helper()
	c := &victim{cmd: exec.Command(os.Args[0])}
	c.cmd.Env, c.cmd.Stderr = append(os.Environ(), childVar+"="+dir), os.Stderr
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if c.in, err = c.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if err := json.NewDecoder(out).Decode(&c.hello); err != nil {
		c.kill(t)
		t.Fatal(err)
	}
	return c
}

func (c *victim) kill(t *testing.T) {
	if c.cmd.ProcessState != nil {
		return
	}
	if err := c.cmd.Process.Kill(); err != nil {
		t.Error(err)
	}
	_ = c.cmd.Wait() // killed, as it should be
}

// pressUntilKilled lets the show go on, has all surfaces press, kills the
// child a while later and says how many presses had been answered.
func (c *victim) pressUntilKilled(t *testing.T, after time.Duration) int {
	t.Helper()
	if _, err := io.WriteString(c.in, "\n"); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	answered := make(chan int, killSurfaces)
	for n := 1; n <= killSurfaces; n++ {
		press := c.byHTTP(n)
		switch n {
		case 1, 2:
			press = byOSC(t, ctx, "osc.udp", c.UDP, n)
		case 3:
			press = byOSC(t, ctx, "osc.tcp", c.TCP, n)
		}
		go func() { answered <- pressInTurn(ctx, press) }()
	}
	time.Sleep(after)
	c.kill(t)
	cancel()
	sum := 0
	for range killSurfaces {
		sum += <-answered
	}
	return sum
}

// pressInTurn presses the one button and the other, each only once the press
// before has been answered, and slowly enough for none to be a bounce.
func pressInTurn(ctx context.Context, press func(column int) bool) (answered int) {
	for i := 0; press(1 + i%2); i++ {
		answered++
		select {
		case <-ctx.Done():
			return answered
		case <-time.After(12 * time.Millisecond):
		}
	}
	return answered
}

// byOSC presses with running numbers; every datagram goes out twice.
func byOSC(t *testing.T, ctx context.Context, wire, address string, surface int) func(column int) bool {
	answers := make(chan int64, 99)
	to, err := osc.NewSender(osc.Config{Wire: wire, Address: address, Heard: func(packet []byte, _ osc.From) {
		if p, err := osc.Decode(packet); err == nil {
			osc.Each(p, func(m osc.Message) {
				if m.Path == "/answer" && m.Args[0].Text() == "done" {
					answers <- m.Args[2].Int()
				}
			})
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = to.Close() })
	number := int64(0)
	return func(column int) bool {
		for _, down := range []bool{true, false} {
			number++
			packet, err := osc.AppendMessage(nil, fmt.Sprintf("/finger/desk%d/1/%d", surface, column), osc.Bool(down), osc.Int64(number))
			if err != nil || to.Send(ctx, [][]byte{packet}) != nil || to.Send(ctx, [][]byte{packet}) != nil {
				return false
			}
			for n := int64(0); n != number; {
				select {
				case n = <-answers:
				case <-ctx.Done():
					return false
				}
			}
		}
		return true
	}
}

// byHTTP presses by POST.
func (c *victim) byHTTP(surface int) func(column int) bool {
	client := &http.Client{Transport: &http.Transport{}}
	return func(column int) bool {
		answer, err := client.Post(c.HTTP+"api/press", "application/json",
			strings.NewReader(fmt.Sprintf(`{"kind":"tap","surface":"desk%d","row":1,"column":%d}`, surface, column)))
		if err != nil {
			client.CloseIdleConnections()
			return false
		}
		defer answer.Body.Close()
		var said struct{ Outcome string }
		return json.NewDecoder(answer.Body).Decode(&said) == nil && said.Outcome == "done"
	}
}
