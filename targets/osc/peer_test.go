package osc

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// The peers are liblo's oscsend and oscdump (Debian package liblo-tools) and
// npm osc and osc-min (.ci/peers.json). Where one is missing its tests are
// skipped, unless CUEWRIGHT_PEERS is 1.

func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CUEWRIGHT_PEERS") == "1" {
		t.Fatal(what)
	}
	t.Skip(what + "; set CUEWRIGHT_PEERS=1 to make this a failure")
}

func tool(t *testing.T, name, from string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		missing(t, name+" is not here (Debian package "+from+")")
	}
	return path
}

// allTypes is an argument of every type that oscsend writes.
const allTypes = "ihfdsScmTFNI"

func TestLibloSendsEveryType(t *testing.T) {
	oscsend := tool(t, "oscsend", "liblo-tools")
	want := Message{"/all/types", []Arg{Int32(-7), Int64(1 << 40), Float32(0.1), Float64(-0.1), String("abc d"), Symbol("sym"),
		Char('A'), MIDI(1, 0x90, 0x3c, 0x7f), Bool(true), Bool(false), Null(), Infinitum()}}
	for wireName, scheme := range map[string]string{"osc.udp": "osc.udp", "osc.tcp": "osc.tcp"} {
		t.Run(wireName, func(t *testing.T) {
			got := make(heard, 16)
			r := listen(t, wireName, got.handler)
			url := fmt.Sprintf("%s://127.0.0.1:%d", scheme, r.Addr().Port())
			out, err := exec.Command(oscsend, url, want.Path, allTypes, "-7", "1099511627776", "0.1", "-0.1", "abc d", "sym", "A", "01903c7f").CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			packet := got.next(t)
			p, err := Decode([]byte(packet))
			if err != nil || fmt.Sprint(p) != fmt.Sprint(want) {
				t.Errorf("got %v, %v; want %v", p, err, want)
			}
			if ours, err := Encode(want); err != nil || string(ours) != packet {
				t.Errorf("liblo writes %x, we write %x (%v)", packet, ours, err)
			}
		})
	}
}

func TestLibloReadsEveryType(t *testing.T) {
	oscdump := tool(t, "oscdump", "liblo-tools")
	all := Message{"/all/types", []Arg{Int32(-7), Int64(1 << 40), Float32(0.5), Float64(-0.25), String("abc d"), Symbol("sym"),
		Char('A'), MIDI(1, 0x90, 0x3c, 0x7f), Blob([]byte{1, 2, 3, 4, 5}), Time(0x83AA7E80_80000000), Bool(true), Bool(false), Null(), Infinitum()}}
	const want = `/all/types ihfdsScmbtTFNI -7 1099511627776 0.500000 -0.250000 "abc d" 'sym 'A' MIDI [0x01 0x90 0x3c 0x7f] ` +
		`[5b 0x1 0x2 0x3 0x4 0x5] 83aa7e80.80000000 #T #F Nil Infinitum`
	packet, err := Encode(all)
	if err != nil {
		t.Fatal(err)
	}
	bundle, err := AppendBundle(nil, Immediately, packet, packet)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"osc.udp", "osc.tcp"} {
		t.Run(w, func(t *testing.T) {
			port := freePort(t)
			printed := start(t, exec.Command(oscdump, "-L", fmt.Sprintf("%s://:%d", w, port)))
			s := sender(t, Config{Wire: w, Address: fmt.Sprintf("127.0.0.1:%d", port)})
			untilHeard(t, s, packet, printed)
			if err := s.Send(t.Context(), [][]byte{bundle}); err != nil {
				t.Fatal(err)
			}
			for range 2 {
				if _, line, _ := strings.Cut(printed.next(t), " "); strings.TrimSpace(line) != want {
					t.Errorf("got  %s\nwant %s", line, want)
				}
			}
		})
	}
}

// freePort is a port that nothing listens at now, for a peer that cannot
// choose one itself.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// start runs a peer until the end of the test, and gives its lines of output.
func start(t *testing.T, cmd *exec.Cmd) heard {
	t.Helper()
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	printed, done := make(heard, 4096), make(chan struct{})
	go func() {
		defer close(done)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			printed <- lines.Text()
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-done
		_ = cmd.Wait()
		if t.Failed() && errs.Len() > 0 {
			t.Logf("the peer says: %s", errs.String())
		}
	})
	return printed
}

// untilHeard sends a packet until the peer listens and prints it, then passes
// over what it printed.
func untilHeard(t *testing.T, s Sender, packet []byte, printed heard) {
	t.Helper()
	for end := time.Now().Add(patience); ; {
		_ = s.Send(t.Context(), [][]byte{packet}) // refused until it listens
		select {
		case <-printed:
			for {
				select {
				case <-printed:
					continue
				case <-time.After(200 * time.Millisecond):
					return
				}
			}
		case <-time.After(50 * time.Millisecond):
		}
		if time.Now().After(end) {
			t.Fatal("the peer does not come up")
		}
	}
}

// node starts one of the echoes in testdata/wire and gives its port.
func node(t *testing.T, module, script string, args ...string) string {
	t.Helper()
	modules := os.Getenv("CUEWRIGHT_NODE_MODULES")
	if _, err := os.Stat(filepath.Join(modules, module, "package.json")); modules == "" || err != nil {
		missing(t, "npm "+module+" is not here: set CUEWRIGHT_NODE_MODULES to a node_modules folder made from .ci/peers.json")
	}
	cmd := exec.Command(tool(t, "node", "nodejs"), append([]string{filepath.Join("../../testdata/wire", script)}, args...)...)
	cmd.Env = append(os.Environ(), "NODE_PATH="+modules)
	return start(t, cmd).next(t)
}

// Each vector goes to the peer, is decoded and encoded there, and must come
// back to the byte.
func TestNodePeersEchoEveryVector(t *testing.T) {
	for _, c := range []struct {
		module, script, mode, wire string
		skip                       func(Message) bool
	}{
		{"osc", "peer_osc.cjs", "udp", "osc.udp", notOfNPMOSC},
		{"osc", "peer_osc.cjs", "tcp", "osc.slip", notOfNPMOSC},
		{"osc-min", "peer_oscmin.cjs", "", "osc.udp", notOfOSCMin},
	} {
		t.Run(c.module+" "+c.wire, func(t *testing.T) {
			back := make(heard, 16)
			s := sender(t, Config{Wire: c.wire, Address: "127.0.0.1:" + node(t, c.module, c.script, c.mode), Heard: back.handler})
			all := lines(t, "messages.txt")
			var both [][]byte
			for i := 0; i < len(all); i += 2 {
				packet := unhex(t, all[i+1])
				if c.skip(message(t, all[i])) {
					continue
				}
				both = append(both, packet)
				echo(t, s, back, packet)
			}
			bundle, err := AppendBundle(nil, 0xe8000000_40000000, both[0], both[1])
			if err != nil {
				t.Fatal(err)
			}
			echo(t, s, back, bundle)
		})
	}
}

func echo(t *testing.T, s Sender, back heard, packet []byte) {
	t.Helper()
	if err := s.Send(t.Context(), [][]byte{packet}); err != nil {
		t.Fatal(err)
	}
	if got := back.next(t); got != string(packet) {
		t.Errorf("%x came back as %x", packet, got)
	}
}

// notOfNPMOSC: npm osc 2.4.5 writes arrays in arrays and does not read them.
func notOfNPMOSC(m Message) bool {
	deep := 0
	for _, a := range m.Args {
		switch a.Tag {
		case '[':
			if deep++; deep > 1 {
				return true
			}
		case ']':
			deep--
		}
	}
	return false
}

// notOfOSCMin: osc-min 2.1.2 appends twelve stray zero bytes to a colour.
func notOfOSCMin(m Message) bool {
	return slices.ContainsFunc(m.Args, func(a Arg) bool { return a.Tag == 'r' })
}
