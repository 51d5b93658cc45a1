package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// pkg is what `go list` says about a package.
type pkg struct {
	ImportPath   string
	Imports      []string
	TestImports  []string
	XTestImports []string
}

const module = "cuewright/"

// simulation are packages that tests of any package may use, wherever they
// stand in the map: they are never in a program.
var simulation = []string{"sim/simtest", "targets/surface/surfacetest"}

// bans are imports that a package may not have, for reasons that are written
// in DEVELOPERS.md. A name that ends in a slash is everything below it.
var bans = []struct {
	who    func(string) bool
	what   []string
	except []string
}{
	{is("macro/program"), []string{module}, nil},
	{under("macro/"), []string{module + "sim/", module + "targets/", module + "cmd/"}, nil},
	{under("sim/"), []string{module + "macro/syntax", module + "macro/plan", module + "macro/check", module + "targets/", module + "cmd/"},
		[]string{"sim/simtest"}},
	{is("sim/state", "sim/signal", "sim/route", "sim/step", "sim/onair"), []string{"time", "math/rand", "math/rand/v2", "net", "os", "sync"}, nil},
	{under("macro/", "sim/", "cmd/"), []string{"net", "net/http", "net/netip", "net/url"}, []string{"cmd/cuewright:net/url"}},
}

func is(names ...string) func(string) bool {
	return func(name string) bool { return slices.Contains(names, name) }
}

func under(heads ...string) func(string) bool {
	return func(name string) bool {
		return slices.ContainsFunc(heads, func(h string) bool { return strings.HasPrefix(name, h) })
	}
}

// TestLaw holds the map of DEVELOPERS.md against the packages there are: every
// package has a line and every line a package, and a package imports only
// packages above its line, and nothing that is banned.
func TestLaw(t *testing.T) {
	doc, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range law(mapOf(string(doc)), packages(t)) {
		t.Error(fault)
	}
}

// law is the faults of packages against the map.
func law(lines []string, all []pkg) []string {
	var faults []string
	place := map[string]int{}
	for i, name := range lines {
		if _, twice := place[name]; twice {
			faults = append(faults, "DEVELOPERS.md has two lines for "+name)
		}
		place[name] = i
	}
	have := map[string]bool{}
	for _, p := range all {
		name := strings.TrimPrefix(p.ImportPath, module)
		have[name] = true
		at, ok := place[name]
		if !ok {
			faults = append(faults, "DEVELOPERS.md has no line for "+name)
			continue
		}
		for _, imported := range p.Imports {
			to := strings.TrimPrefix(imported, module)
			if below, ours := place[to]; ours && below >= at && imported != to {
				faults = append(faults, name+" imports "+to+", which is below it on the map")
			}
			if slices.Contains(simulation, to) {
				faults = append(faults, name+" imports "+to+", which is for tests only")
			}
			if banned(name, imported) {
				faults = append(faults, name+" imports "+imported+", which is banned")
			}
		}
		for _, imported := range append(p.TestImports, p.XTestImports...) {
			to := strings.TrimPrefix(imported, module)
			if strings.HasPrefix(name, "macro/") && under("targets/", "cmd/")(to) {
				faults = append(faults, "the tests of "+name+" import "+to+", which is above its layer")
			}
		}
	}
	for _, name := range lines {
		if !have[name] {
			faults = append(faults, "DEVELOPERS.md has a line for "+name+", which is no package")
		}
	}
	return faults
}

// banned says whether a package may not import something.
func banned(name, imported string) bool {
	for _, b := range bans {
		if !b.who(name) || slices.Contains(b.except, name) || slices.Contains(b.except, name+":"+imported) {
			continue
		}
		for _, w := range b.what {
			if imported == w || strings.HasSuffix(w, "/") && strings.HasPrefix(imported, w) {
				return true
			}
		}
	}
	return false
}

// mapOf reads the names of the map block.
func mapOf(doc string) []string {
	_, block, _ := strings.Cut(doc, "```map\n")
	block, _, _ = strings.Cut(block, "```")
	var names []string
	for line := range strings.Lines(block) {
		names = append(names, strings.Fields(line)[0])
	}
	return names
}

// packages asks go list.
func packages(t *testing.T) []pkg {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,TestImports,XTestImports", "cuewright/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	var all []pkg
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// TestLawCatches: the law finds a missing line, a stale line, an import from
// below, a test package in a program, and what is banned.
func TestLawCatches(t *testing.T) {
	lines := []string{"macro/program", "macro/lower", "sim/step", "sim/simtest", "targets/osc", "cmd/cuewright"}
	good := []pkg{
		{ImportPath: "cuewright/macro/program", Imports: []string{"bytes"}},
		{ImportPath: "cuewright/macro/lower", Imports: []string{"cuewright/macro/program"}},
		{ImportPath: "cuewright/sim/step", Imports: []string{"cuewright/macro/program"}, TestImports: []string{"cuewright/sim/simtest"}},
		{ImportPath: "cuewright/sim/simtest", Imports: []string{"cuewright/macro/lower"}},
		{ImportPath: "cuewright/targets/osc", Imports: []string{"net"}},
		{ImportPath: "cuewright/cmd/cuewright", Imports: []string{"cuewright/targets/osc"}},
	}
	if faults := law(lines, good); len(faults) > 0 {
		t.Errorf("the good tree has faults: %v", faults)
	}
	with := func(i int, imports ...string) []pkg {
		all := slices.Clone(good)
		all[i].Imports = imports
		return all
	}
	tests := []struct {
		name  string
		lines []string
		all   []pkg
		want  string
	}{
		{"missing line", lines[1:], good, "DEVELOPERS.md has no line for macro/program"},
		{"stale line", append(slices.Clone(lines), "macro/gone"), good, "DEVELOPERS.md has a line for macro/gone, which is no package"},
		{"doubled line", append(slices.Clone(lines), "macro/program"), good, "DEVELOPERS.md has two lines for macro/program"},
		{"from below", lines, with(2, "cuewright/cmd/cuewright"), "sim/step imports cmd/cuewright, which is below it on the map"},
		{"test package", lines, with(4, "cuewright/sim/simtest"), "targets/osc imports sim/simtest, which is for tests only"},
		{"program alone", lines, with(0, "cuewright/macro/lower"), "macro/program imports cuewright/macro/lower, which is banned"},
		{"clock in step", lines, with(2, "time"), "sim/step imports time, which is banned"},
		{"net in macro", lines, with(1, "net/http"), "macro/lower imports net/http, which is banned"},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			if faults := law(c.lines, c.all); !slices.Contains(faults, c.want) {
				t.Errorf("got %q, want %q", faults, c.want)
			}
		})
	}
}
