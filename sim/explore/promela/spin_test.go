package promela

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"
)

// The peer is SPIN (Debian package spin), with a C compiler. Without them
// these tests are skipped, unless CUEWRIGHT_PEERS is 1.

// verifier is a compiled model.
type verifier struct{ path string }

// findSpin skips the test when there is no SPIN.
func findSpin(t testing.TB) {
	t.Helper()
	for _, tool := range []string{"spin", "gcc"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CUEWRIGHT_PEERS") == "1" {
				t.Fatalf("CUEWRIGHT_PEERS=1 demands %s: %v", tool, err)
			}
			t.Skipf("%s is not here (Debian packages spin and gcc); set CUEWRIGHT_PEERS=1 to make this a failure", tool)
		}
	}
}

// compile makes a verifier. -o1 and -o2 keep SPIN from forgetting the values of
// variables that nothing reads, which would make its states fewer than ours;
// -o3 lets it tell of each line that is never reached.
func compile(dir string, model []byte, flags ...string) (verifier, error) {
	v := verifier{filepath.Join(dir, "pan")}
	if err := os.WriteFile(filepath.Join(dir, "model.pml"), model, 0o666); err != nil {
		return v, err
	}
	if err := command(dir, "spin", "-o1", "-o2", "-o3", "-a", "model.pml"); err != nil {
		return v, err
	}
	if slices.Contains(flags, "-DBFS") {
		if err := unhide(filepath.Join(dir, "pan.h")); err != nil {
			return v, err
		}
	}
	return v, command(dir, "gcc", append(flags, "-w", "-DSAFETY", "-DNOREDUCE", "-o", "pan", "pan.c")...)
}

// unhide takes away that SPIN refuses to go breadth-first with hidden variables,
// since it does not keep them between steps: ours live within a d_step.
func unhide(header string) error {
	text, err := os.ReadFile(header)
	if err != nil {
		return err
	}
	const refusal = "#error cannot use BFS on models with variables declared hidden"
	if !bytes.Contains(text, []byte(refusal)) {
		return errors.New("SPIN does not refuse: " + refusal)
	}
	return os.WriteFile(header, bytes.ReplaceAll(text, []byte(refusal), nil), 0o666)
}

func command(dir, name string, args ...string) error {
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	c := exec.CommandContext(ctx, name, args...)
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil || bytes.Contains(out, []byte("Error:")) {
		return fmt.Errorf("%s %v: %v\n%s", name, args, err, out)
	}
	return nil
}

// heard is what a verifier has said.
type heard struct {
	states int64
	vector int64         // bytes
	unseen map[int]bool  // labels, see rules
	took   time.Duration // by its own clock
	memory int64         // bytes that the process held at most
}

var (
	storedLine = regexp.MustCompile(`(?m)^\s*(\d+) states, stored$`)
	vectorLine = regexp.MustCompile(`(?m)^State-vector (\d+) byte`)
	brokenLine = regexp.MustCompile(`"broken = (\d+)"`)
	tookLine   = regexp.MustCompile(`elapsed time ([0-9.]+) seconds`)
)

// run searches show n of a model.
func (v verifier) run(n int, args ...string) (heard, error) {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	c := exec.CommandContext(ctx, v.path, args...)
	c.Dir = filepath.Dir(v.path)
	c.Env = append(os.Environ(), fmt.Sprintf("%s=%d", Chosen, n))
	out, err := c.CombinedOutput()
	switch {
	case err != nil:
		return heard{}, fmt.Errorf("%w\n%s", err, out)
	case bytes.Contains(out, []byte("max search depth too small")), bytes.Contains(out, []byte("Search not completed")),
		!bytes.Contains(out, []byte("errors: 0")):
		return heard{}, fmt.Errorf("not finished:\n%s", out)
	}
	h := heard{unseen: map[int]bool{}, states: number(storedLine, out), vector: number(vectorLine, out)}
	for _, m := range brokenLine.FindAllSubmatch(process0(out, n), -1) {
		rule, _ := strconv.Atoi(string(m[1]))
		h.unseen[rule] = true
	}
	if m := tookLine.FindSubmatch(out); m != nil {
		seconds, _ := strconv.ParseFloat(string(m[1]), 64)
		h.took = time.Duration(seconds * float64(time.Second))
	}
	if usage, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
		h.memory = usage.Maxrss << 10
	}
	if h.states == 0 {
		return h, errors.New("no number of states in:\n" + string(out))
	}
	return h, nil
}

// process0 is the part of the report about the process of show n.
func process0(out []byte, n int) []byte {
	_, part, found := bytes.Cut(out, fmt.Appendf(nil, "unreached in proctype show%d\n", n))
	if !found {
		return nil
	}
	part, _, _ = bytes.Cut(part, []byte("unreached in"))
	return part
}

func number(line *regexp.Regexp, out []byte) int64 {
	m := line.FindSubmatch(out)
	if m == nil {
		return 0
	}
	n, _ := strconv.ParseInt(string(m[1]), 10, 64)
	return n
}
