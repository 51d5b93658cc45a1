package control

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/osc/osctest"
	"cuewright/targets/prepare"
	"cuewright/targets/surface/oscin"
)

// capture is the datagrams of a run.
type capture struct {
	mu  sync.Mutex
	all []osctest.Datagram
}

func (c *capture) add(data []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.all = append(c.all, osctest.Datagram{At: time.Now(), Data: slices.Clone(data)})
}

func (c *capture) taken() []osctest.Datagram {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.all)
}

func (c *capture) has(data string) bool {
	return slices.ContainsFunc(c.taken(), func(d osctest.Datagram) bool { return strings.Contains(string(d.Data), data) })
}

// wired is a controller whose OSC devices are one socket, and a surface by OSC.
type wired struct {
	t                   *testing.T
	c                   *Controller
	to                  osc.Sender
	toDevice, toSurface capture
	close               func()
}

func newWired(t *testing.T, p *program.Program) *wired {
	t.Helper()
	w := &wired{t: t}
	device, err := osc.ListenUDP("127.0.0.1:0", func(packet []byte, _ osc.From) { w.toDevice.add(packet) })
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range p.Devices {
		if p = at(p, d.Name, "", ""); d.Wire == "osc.udp" {
			p.Devices[i].Wire, p.Devices[i].Address = "osc.udp", device.Addr().String()
		}
	}
	w.c = start(t, p, Options{Bundles: true})
	s, err := oscin.Listen(w.c, oscin.Config{Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	w.to, err = osc.NewSender(osc.Config{Wire: "osc.udp", Address: s.Addr().String(), Heard: func(packet []byte, _ osc.From) { w.toSurface.add(packet) }})
	if err != nil {
		t.Fatal(err)
	}
	w.close = func() {
		stop(t, w.c)
		if err := errors.Join(s.Close(), w.to.Close(), device.Close()); err != nil {
			t.Error(err)
		}
	}
	return w
}

func (w *wired) say(path string, args ...osc.Arg) {
	w.t.Helper()
	packet, err := osc.AppendMessage(nil, path, args...)
	if err == nil {
		err = w.to.Send(context.Background(), [][]byte{packet})
	}
	if err != nil {
		w.t.Fatal(err)
	}
}

// tap taps and waits until the devices have been told so much in all.
func (w *wired) tap(place string, until int) {
	w.t.Helper()
	w.say("/finger/"+place, osc.Int32(1))
	w.say("/finger/"+place, osc.Int32(0))
	await(w.t, place+" is told", func() bool { return len(w.toDevice.taken()) == until })
}

// What a run puts on the wire, to its devices and to a surface, is read by
// tshark as what the plan and the show mean: addresses, types, values, bundles
// and times. (It shows true and false only where other values follow.)
func TestTsharkReadsARun(t *testing.T) {
	w := newWired(t, deaf(compiled(t)))
	began := time.Now()
	w.say("/watch")
	await(t, "lamps are told", func() bool { return w.toSurface.has("/lamp/side_desk/2/4") })
	w.tap("desk/1/1", 1)
	w.tap("desk/1/3", 3)
	w.tap("side_desk/2/3", 5)
	sent := w.toDevice.taken()
	w.say("/rundown/go", osc.String("3.5"))
	await(t, "an alert is told", func() bool { return w.toSurface.has("/alert") })
	w.close()

	if got, want := osctest.Dissect(t, sent), []string{
		`/bank/1/program ,i 1`, // cut main to wide
		`/keyer/1 ,T`,          // key logo on
		`/keyer/1 ,F`,          // key logo off
		`/lights/half ,f 0.4`,  // send lights(level: 40, scene: "half")
		`/horn ,i 1`,           // send horn
	}; !slices.Equal(got, want) {
		t.Errorf("tshark reads, on the way to the devices,\n%q, want\n%q", got, want)
	}
	told := strings.Join(osctest.Dissect(t, w.toSurface.taken()), "\n")
	for _, want := range []string{
		`{ immediately +`,
		` /page/desk ,s "cameras" `,
		` /lamp/desk/1/2 ,sss "Goal" "dark" "none" `,
		` /lamp/desk/3/5 ,sss "Stop" "`,
		` "shut" `,
		` /lamp/side_desk/1/2 ,sss "Go" "dark" "none" `,
		` /standby ,ss "1" "Doors" `,
		"\n" + `/answer ,ssh "done" "" 0`,
		`/alert ,st "start again" ` + began.UTC().Format("Jan _2, 2006 15:"),
	} {
		if !strings.Contains(told, want) {
			t.Errorf("tshark does not read %s in what the surface is told:\n%s", want, told)
		}
	}
	for i, d := range w.toSurface.taken() { // all of it, and nothing else
		p, err := osc.Decode(d.Data)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Split(told, "\n")[i]; got != osctest.Words(p) && !strings.Contains(got, "/show ,sssF") {
			t.Errorf("tshark reads %s, and we %s", got, osctest.Words(p))
		}
	}
}

// A salvo to one device is one bundle, to be done at once.
func TestTsharkReadsASalvo(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"rack.yaml": `
rack: Strip
rate: 50
devices: { strip: { kind: power, outlets: { scoreboard: 1, fan: 2, door: 3 } } }
surfaces: { desk: { rows: 1, columns: 1, by: osc } }
control: { strip: { to: "osc.udp://127.0.0.1:9208", does: { switch: { osc: "/outlet/{outlet.number}", args: ["on ? 1 : 0"] } } } }
`,
		"strip.show": `
show "Strip" uses "rack.yaml"
salvo half { switch scoreboard on; switch fan off; switch door on }
page only on desk { button 1.1 "Half" { run half } }
`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r := prepare.Show(filepath.Join(dir, "strip.show"), prepare.Disk)
	if r.Program == nil {
		t.Fatal(r.Findings)
	}
	w := newWired(t, r.Program)
	w.tap("desk/1/1", 1)
	w.close()
	want := []string{"{ immediately +20 /outlet/1 ,i 1 +20 /outlet/2 ,i 0 +20 /outlet/3 ,i 1 }"}
	if got := osctest.Dissect(t, w.toDevice.taken()); !slices.Equal(got, want) {
		t.Errorf("tshark reads %q, want %q", got, want)
	}
}
