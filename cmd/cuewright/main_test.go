package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/lesson"
)

// scriptCommands are the programs that scripts can run.
var scriptCommands = map[string]func(){"cuewright": main}

// TestMain lets the scripts run this program as `cuewright`.
func TestMain(m *testing.M) { testscript.Main(m, scriptCommands) }

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "../../testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup:               func(e *testscript.Env) error { return copySmall(e.WorkDir) },
	})
}

// copySmall puts the small show and its rack into a folder.
func copySmall(dir string) error {
	for _, name := range []string{"small.show", "rack.yaml"} {
		data, err := os.ReadFile(filepath.Join("../../testdata/shows/small", name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// cuewright runs a command line in this process.
func cuewright(args ...string) (code int, out, err string) {
	var o, e bytes.Buffer
	code = run(args, streams{in: strings.NewReader(""), out: &o, err: &e})
	return code, o.String(), e.String()
}

// TestCommandLessons runs the lessons and cases that are about calling the
// program; targets/prepare runs those about shows and plans.
func TestCommandLessons(t *testing.T) {
	cases, err := filepath.Glob("../../testdata/find/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, path := range cases {
		archive, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range archive.Files {
			if f.Name == "command" {
				ran++
				lines, code, _ := strings.Cut(string(f.Data), "# want:")
				commands(t, path, lines, strings.TrimSpace(code), archive.Files)
			}
		}
	}
	for _, code := range lesson.All() {
		l, _ := lesson.Get(code)
		if lines, ok := l.File("wrong.command"); ok {
			ran++
			commands(t, string(code)+"_wrong", lines, string(code), nil)
			lines, _ = l.File("mended.command")
			commands(t, string(code)+"_mended", lines, "", nil)
		}
	}
	if ran == 0 {
		t.Fatal("no lessons about calling the program")
	}
}

// commands runs command lines in a folder with the small show, also under the
// name league.show, and files that are no compiled shows. The last line has to
// give the code, or to succeed when there is none.
func commands(t *testing.T, name, lines, code string, files []txtar.File) {
	t.Run(filepath.Base(name), func(t *testing.T) {
		dir := t.TempDir()
		if err := copySmall(dir); err != nil {
			t.Fatal(err)
		}
		t.Chdir(dir)
		write := func(name string, data []byte) {
			if err := os.WriteFile(name, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		write("league.show", []byte("show \"Final\" uses \"rack.yaml\"\n"+
			"rundown {\n  cue 1 \"One\" { cut main to goal }\n  cue 2 \"Two\" { cut main to goal }\n}\n"))
		zeros := strings.Repeat("0", 64)
		write("half-copied.program", []byte("cuewright-program 2 20000 "+zeros+"\n{"))
		write("made-by-a-newer-version.program", []byte("cuewright-program 9 2 "+zeros+"\n{}"))
		write("recording-of-last-night.program", []byte("cuewright-program 2 99999999 "+zeros+"\n{}"))
		write("holiday.jpeg", []byte("\xff\xd8\xff\xe0"))
		for _, f := range files {
			write(f.Name, f.Data)
		}
		var exit int
		var out, err string
		for line := range strings.Lines(strings.TrimSpace(lines)) {
			exit, out, err = cuewright(strings.Fields(line)[1:]...)
		}
		switch {
		case code == "" && exit != 0:
			t.Errorf("%s: exit code %d\n%s%s", lines, exit, out, err)
		case code != "" && (exit == 0 || !strings.Contains(out+err, "["+code+"]")):
			t.Errorf("%s: exit code %d, no %s\n%s%s", lines, exit, code, out, err)
		}
	})
}
