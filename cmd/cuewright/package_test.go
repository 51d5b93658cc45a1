package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestPackages: the packages in the folder CUEWRIGHT_PACKAGES, which .ci/package
// has made, have what they should and nothing else, and the program in each
// checks and runs the demo: presses over HTTP and OSC, a clean stop, a journal
// that replays. Programs for boards run under qemu-user.
func TestPackages(t *testing.T) {
	dir := os.Getenv("CUEWRIGHT_PACKAGES")
	if dir == "" {
		t.Skip("CUEWRIGHT_PACKAGES is not set")
	}
	for arch, emulator := range map[string]string{"amd64": "", "arm64": "qemu-aarch64-static", "armhf": "qemu-arm-static"} {
		t.Run(arch, func(t *testing.T) {
			deb := filepath.Join(dir, "cuewright_"+version+"_"+arch+".deb")
			packageHas(t, deb, arch)
			at := t.TempDir()
			output(t, exec.Command(peer(t, "dpkg-deb"), "-x", deb, at))
			command := []string{filepath.Join(at, "usr/bin/cuewright")}
			if emulator != "" {
				command = append([]string{peer(t, emulator)}, command...)
			}
			packageRuns(t, command, filepath.Join(at, "usr/share/doc/cuewright/examples/league/league.show"))
		})
	}
}

// output is what a command writes; it must succeed.
func output(t *testing.T, c *exec.Cmd) string {
	t.Helper()
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %v\n%s", c.Args, err, out)
	}
	return string(out)
}

// packageHas looks at what a package is and has.
func packageHas(t *testing.T, deb, arch string) {
	t.Helper()
	dpkg := peer(t, "dpkg-deb")
	fields := output(t, exec.Command(dpkg, "-f", deb, "Package", "Version", "Architecture", "Depends", "Pre-Depends"))
	if want := "Package: cuewright\nVersion: " + version + "\nArchitecture: " + arch + "\n"; fields != want {
		t.Errorf("the package is\n%swant\n%s", fields, want)
	}
	var got []string
	for line := range strings.Lines(output(t, exec.Command(dpkg, "-c", deb))) {
		words := strings.Fields(line) // mode owner size date time name
		got = append(got, words[0]+" "+words[1]+" "+words[5])
	}
	want := []string{
		"drwxr-xr-x root/root ./etc/",
		"drwxr-xr-x root/root ./etc/cuewright/",
		"drwxr-xr-x root/root ./usr/",
		"drwxr-xr-x root/root ./usr/bin/",
		"-rwxr-xr-x root/root ./usr/bin/cuewright",
		"drwxr-xr-x root/root ./usr/share/",
		"drwxr-xr-x root/root ./usr/share/doc/",
		"drwxr-xr-x root/root ./usr/share/doc/cuewright/",
		"-rw-r--r-- root/root ./usr/share/doc/cuewright/README.md",
		"drwxr-xr-x root/root ./usr/share/doc/cuewright/examples/",
		"drwxr-xr-x root/root ./usr/share/doc/cuewright/examples/league/",
		"-rw-r--r-- root/root ./usr/share/doc/cuewright/examples/league/league.show",
		"-rw-r--r-- root/root ./usr/share/doc/cuewright/examples/league/rack.yaml",
	}
	if !slices.Equal(got, want) {
		t.Errorf("it has\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	packageStartsNothing(t, deb)
}

// packageStartsNothing runs what the package runs when it is installed, and
// when it takes the place of an older one, where nothing but a shell can be
// called: it calls nothing.
func packageStartsNothing(t *testing.T, deb string) {
	t.Helper()
	at := t.TempDir()
	output(t, exec.Command(peer(t, "dpkg-deb"), "-e", deb, at))
	scripts, err := filepath.Glob(filepath.Join(at, "p*"))
	if err != nil || len(scripts) != 1 {
		t.Fatalf("the scripts are %v, %v", scripts, err)
	}
	for _, args := range [][]string{{"configure", ""}, {"configure", "0.0.1"}, {"abort-upgrade", "0.0.1"}} {
		c := exec.Command("/bin/sh", append(scripts, args...)...)
		c.Env = []string{"PATH=" + t.TempDir()}
		if out := output(t, c); strings.Contains(out, "not found") || strings.Contains(out, "install-unit") != (args[1] == "") {
			t.Errorf("%v says %q", args, out)
		}
	}
}

// packageRuns checks the demo and runs it.
func packageRuns(t *testing.T, command []string, show string) {
	t.Helper()
	call := func(args ...string) *exec.Cmd {
		args = append(command[1:len(command):len(command)], args...)
		c := exec.Command(command[0], args...)
		c.Env = append(os.Environ(), credentialsOf(t)...)
		return c
	}
	output(t, call("check", show))
	state := filepath.Join(t.TempDir(), "state")
	run := call("run", show, "--state", state, "--http", "127.0.0.1:0", "--osc", "127.0.0.1:0")
	said, err := run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	run.Stderr = os.Stderr
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = run.Process.Kill(); _ = run.Wait() })
	began := time.Now()
	page, oscPort := "", ""
	lines := bufio.NewScanner(said)
	for lines.Scan() && !strings.Contains(lines.Text(), "ready: ") {
		if m := regexp.MustCompile(`tablets: (http://\S+)/`).FindStringSubmatch(lines.Text()); m != nil {
			page = m[1]
		}
		if m := regexp.MustCompile(`osc.udp://\S+:(\d+)`).FindStringSubmatch(lines.Text()); m != nil {
			oscPort = m[1]
		}
	}
	t.Logf("ready %v after it was started", time.Since(began).Round(time.Millisecond))
	rest := make(chan string, 1)
	go func() {
		all := ""
		for lines.Scan() {
			all += lines.Text() + "\n"
		}
		rest <- all
	}()
	answer, err := http.Post(page+"/api/press", "application/json", strings.NewReader(`{"kind":"go","cue":"1"}`))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(answer.Body)
	if _ = answer.Body.Close(); err != nil || !strings.Contains(string(text), `"outcome":"done"`) {
		t.Errorf("a press over HTTP: %s, %v", text, err)
	}
	output(t, exec.Command(peer(t, "oscsend"), "osc.udp://127.0.0.1:"+oscPort, "/rundown/skip"))
	if exit, out, problem := cuewright("status", "--http", page, "--json"); exit == exitUsage || !strings.Contains(out, `"standby"`) {
		t.Errorf("%d %s", exit, problem)
	}
	awaitPresses(t, page, 2)
	if err := run.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if all := <-rest; !strings.Contains(all, "  ended\n") {
		t.Errorf("it said\n%s", all)
	}
	if err := run.Wait(); err != nil {
		t.Error(err)
	}
	// No device is there, so replay may find, and exit with 1 for it, that those did not act; nothing else.
	out, err := call("replay", state).CombinedOutput()
	var failed *exec.ExitError
	if err != nil && (!errors.As(err, &failed) || failed.ExitCode() != 1) {
		t.Error(err)
	}
	codes := regexp.MustCompile(`(?m)^ +\[([a-z-]+)\]`).FindAllSubmatch(out, -1)
	if slices.ContainsFunc(codes, func(m [][]byte) bool { return string(m[1]) != "device-did-not-act" }) || (err != nil) != (len(codes) > 0) ||
		!strings.Contains(string(out), "the same bytes in the same order") {
		t.Errorf("%s", out)
	}
}

// awaitPresses waits until that many presses were done, by the metrics.
func awaitPresses(t *testing.T, page string, n int) {
	t.Helper()
	want := fmt.Sprintf("cuewright_presses_total{outcome=\"done\"} %d\n", n)
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		answer, err := http.Get(page + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(answer.Body)
		if _ = answer.Body.Close(); err == nil && strings.Contains(string(text), want) {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d presses were not done, by\n%s", n, text)
		}
	}
}
