package prepare

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"cuewright/macro/diag"
	"cuewright/macro/program"
)

// put writes a file into a folder and gives its path.
func put(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func small(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(testdata + "shows/small/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestFilesThatCannotBeUsed: what the disk can hold in a show's place.
func TestFilesThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "rack.yaml", small(t, "rack.yaml"))
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe.show"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.show"), 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, dir, "large.show", strings.Repeat("# a long evening\n", largestText/16))
	put(t, dir, "utf16.show", "\xff\xfes\x00h\x00")
	put(t, dir, "latin.show", "show \"Caf\xe9\" uses \"rack.yaml\"\n")
	put(t, dir, "zero.show", "show \"x\x00\" uses \"rack.yaml\"\n")
	tests := []struct {
		name, code, what string
		line, column     int
	}{
		{"nowhere.show", "missing-file", "there is no file", 1, 1},
		{"large.shw", "missing-file", "there is no file", 1, 1},
		{"pipe.show", "unusable-file", "is a device or a pipe, not a file", 1, 1},
		{"folder.show", "unusable-file", "is a folder, not a file", 1, 1},
		{"large.show", "unusable-file", "is larger than 4096 KiB", 1, 1},
		{"utf16.show", "unusable-file", "UTF-16", 1, 1},
		{"rack.yaml", "unusable-file", "is a routing plan, and here belongs a show", 1, 1},
		{"latin.show", "unusable-file", "byte e9 cannot stand here", 1, 10},
		{"zero.show", "unusable-file", "byte 00 cannot stand here", 1, 8},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			r := Show(filepath.Join(dir, c.name), Disk)
			if len(r.Findings) != 1 || r.Program != nil || r.Show != nil {
				t.Fatalf("%+v", r)
			}
			d := r.Findings[0]
			at := d.At.Begin()
			if string(d.Code) != c.code || !strings.Contains(d.What, c.what) || at.Line != c.line || at.Column != c.column {
				t.Errorf("%d:%d %s: %s", at.Line, at.Column, d.Code, d.What)
			}
		})
	}
	near := Show(filepath.Join(dir, "large.shw"), Disk).Findings[0]
	if len(near.Mends) == 0 || near.Mends[0].Do != "write `"+filepath.Join(dir, "large.show")+"`" {
		t.Errorf("mends %v", near.Mends)
	}
}

// TestOneFileForAnother: a file of another form is one finding, which says what
// it is, where the user or the show named it.
func TestOneFileForAnother(t *testing.T) {
	p := Show("small.show", fromMap(t, map[string]string{"small.show": small(t, "small.show"), "rack.yaml": small(t, "rack.yaml")})).Program
	files := map[string]string{
		"compiled.show": string(program.Encode(p)), "rack.yaml": small(t, "rack.yaml"), "small.show": small(t, "small.show"),
		"a.show": `show "A" uses "small.show"`, "b.show": `show "B" uses "compiled.show"`,
		"plan.txt": "# our rack\nrack: Small\nrate: 50\n",
	}
	for name, want := range map[string]string{
		"compiled.show": "1:1 `compiled.show` is a compiled show, and here belongs a show",
		"rack.yaml":     "1:1 `rack.yaml` is a routing plan, and here belongs a show",
		"plan.txt":      "1:1 `plan.txt` is a routing plan, and here belongs a show",
		"a.show":        "1:15 `small.show` is a show, and here belongs a routing plan",
		"b.show":        "1:15 `compiled.show` is a compiled show, and here belongs a routing plan",
	} {
		r := Show(name, fromMap(t, files))
		if len(r.Findings) != 1 || r.Findings[0].Code != "unusable-file" {
			t.Errorf("%s: %v", name, r.Findings)
			continue
		}
		d := r.Findings[0]
		if at := d.At.Begin(); fmt.Sprintf("%d:%d %s", at.Line, at.Column, d.What) != want {
			t.Errorf("%s: %d:%d %s", name, at.Line, at.Column, d.What)
		}
	}
}

// TestByteOrderMark: editors that write one before UTF-8 do no harm.
func TestByteOrderMark(t *testing.T) {
	r := Show("small.show", fromMap(t, map[string]string{"small.show": "\ufeff" + small(t, "small.show"), "rack.yaml": "\ufeff" + small(t, "rack.yaml")}))
	if r.Program == nil || r.Findings.Blocking() {
		t.Errorf("%v", r.Findings)
	}
}

// TestAllStagesInOneRun: mistakes of the show, of its names, of the plan and of
// the plan's templates are told together.
func TestAllStagesInOneRun(t *testing.T) {
	rack := strings.Replace(small(t, "rack.yaml"), `"/lights/{scene}"`, `"/lights/{scne}"`, 1)
	show := "show \"x\" uses \"rack.yaml\"\nrundown {\n  cue 1 \"a\" { cut main too wide }\n  cue 2 \"b\" { cut main to wdie }\n}\n"
	r := Show("small.show", fromMap(t, map[string]string{"small.show": show, "rack.yaml": rack}))
	files := map[string]bool{}
	for _, d := range r.Findings {
		if d.Severity == diag.Error {
			files[d.At.File.Name+":"+d.At.Text()] = true
		}
	}
	for _, want := range []string{"small.show:too", "small.show:wdie", "rack.yaml:scne"} {
		if !files[want] {
			t.Errorf("nothing at %s: %v", want, files)
		}
	}
	if r.Program != nil {
		t.Error("there is a program in spite of errors")
	}
}

// TestAny: shows and compiled shows give the same program.
func TestAny(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "rack.yaml", small(t, "rack.yaml"))
	path := put(t, dir, "small.show", small(t, "small.show"))
	r := Any(path, Disk)
	if r.Program == nil {
		t.Fatal(r.Findings)
	}
	compiled := put(t, dir, "small.program", string(program.Encode(r.Program)))
	again := Any(compiled, Disk)
	if again.Program == nil || string(program.Encode(again.Program)) != string(program.Encode(r.Program)) {
		t.Error(again.Findings)
	}
	for _, how := range []Result{Any(filepath.Join(dir, "no.program"), Disk), Program(filepath.Join(dir, "no.program"), Disk)} {
		if len(how.Findings) != 1 || how.Findings[0].Code != "missing-file" {
			t.Error(how.Findings)
		}
	}
	if got := Program(path, Disk).Findings; len(got) != 1 || got[0].Code != "program-unknown" {
		t.Error(got)
	}
}

// TestAllowedOfThePlan: a warning of rendering can be allowed for the whole show.
func TestAllowedOfThePlan(t *testing.T) {
	archive := examples(t)["crosspoint-not-sendable_tie.txtar"]
	if got := Show("small.show", fromMap(t, archive)).Findings; len(got) != 1 || got[0].Severity != diag.Warning {
		t.Fatal(got)
	}
	archive["small.show"] += "allow crosspoint-not-sendable \"somebody stands at it\"\n"
	if r := Show("small.show", fromMap(t, archive)); len(r.Findings) != 0 || r.Program == nil {
		t.Error(r.Findings)
	}
}

// TestSpanOfAPlace: a place of the program is the statement that begins there,
// with the sources; without them the line and column are right.
func TestSpanOfAPlace(t *testing.T) {
	r := Show("small.show", fromMap(t, map[string]string{"small.show": "show \"x\" uses \"rack.yaml\"\nrundown { cue 1 \"ö; }\" { cut main to wide; take main } }\n"}))
	if r.Program == nil {
		t.Fatal(r.Findings)
	}
	var texts []string
	for _, a := range r.Program.Actions {
		texts = append(texts, r.Span(a.At).Text())
	}
	if got := strings.Join(texts, "|"); got != "cut main to wide|take main" {
		t.Error(got)
	}
	alone := decoded("x.program", r.Program, nil)
	at := alone.Span(r.Program.Actions[0].At)
	if p, q := at.Begin(), r.Span(r.Program.Actions[0].At).Begin(); p.Line != q.Line || p.Column != q.Column || at.File.Name != "small.show" {
		t.Errorf("%+v, want %+v", p, q)
	}
	if at := alone.Span(program.Place{}); at.File.Name != "x.program" {
		t.Errorf("%+v", at)
	}
}

// FuzzShow: no show and no plan stop the driver, and a program that it gives
// is one that can be written and read.
func FuzzShow(f *testing.F) {
	for _, name := range []string{"small.show"} {
		data, err := os.ReadFile(testdata + "shows/small/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("show \"x\" uses \"rack.yaml\"\nrundown { cue 1 \"a\" { cut main to wide } }\n"))
	rack, err := os.ReadFile(testdata + "shows/small/rack.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, show []byte) {
		r := Show("x.show", func(name string) ([]byte, error) {
			switch name {
			case "x.show":
				return show, nil
			case "rack.yaml":
				return rack, nil
			}
			return nil, os.ErrNotExist
		})
		if r.Findings.Blocking() != (r.Program == nil) {
			t.Errorf("program %v, findings %v", r.Program != nil, r.Findings)
		}
		if r.Program != nil {
			if _, err := program.Decode(program.Encode(r.Program)); err != nil {
				t.Error(err)
			}
		}
	})
}
