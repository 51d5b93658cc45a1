package syntax_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "write the golden trees anew; that run fails")

// TestTrees holds the tree of each show of testdata/parse against its golden
// dump. A case without a show of its own is named after a sample.
func TestTrees(t *testing.T) {
	cases, _ := filepath.Glob(root + "parse/*.txtar")
	if len(cases) == 0 {
		t.Fatal("no cases")
	}
	for _, path := range cases {
		t.Run(filepath.Base(path), func(t *testing.T) {
			archive, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			var text, want string
			golden := -1
			for i, f := range archive.Files {
				switch f.Name {
				case "show":
					text = string(f.Data)
				case "sample":
					text = read(t, root+strings.TrimSpace(string(f.Data)))
				case "tree":
					golden, want = i, string(f.Data)
				}
			}
			got := dump(text)
			if got == want {
				return
			}
			t.Errorf("the tree is not the golden one:\n%s", got)
			if *update && golden >= 0 {
				archive.Files[golden].Data = []byte(got)
				if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

// dump writes a tree, a node a line, and the findings after it.
func dump(text string) string {
	f, found := parse(text)
	var b strings.Builder
	if f.Show != nil {
		dumpValue(&b, 0, "", reflect.ValueOf(f.Show))
	}
	for _, item := range f.Items {
		dumpValue(&b, 0, "", reflect.ValueOf(item))
	}
	for _, d := range found {
		p := d.At.Begin()
		fmt.Fprintf(&b, "%d:%d %s `%s`: %s\n", p.Line, p.Column, d.Code, d.At.Text(), d.What)
		for _, also := range d.Also {
			fmt.Fprintf(&b, "  %d:%d %s\n", also.At.Begin().Line, also.At.Begin().Column, also.Note)
		}
		for _, m := range d.Mends {
			fmt.Fprintf(&b, "  %s\n", m.Do)
		}
	}
	return b.String()
}

// dumpValue writes one value with its place as line:column-line:column; what
// is empty is left out.
func dumpValue(b *strings.Builder, depth int, label string, v reflect.Value) {
	for v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface {
		if v.IsNil() {
			return
		}
		v = v.Elem()
	}
	line := func(format string, args ...any) {
		fmt.Fprintf(b, "%s%s", strings.Repeat("  ", depth), label)
		fmt.Fprintf(b, format+"\n", args...)
	}
	switch x := v.Interface().(type) {
	case syntax.Verb:
		return // its word is the label
	case source.Span:
		if !x.IsZero() {
			line("%s", place(x))
		}
		return
	}
	switch v.Kind() {
	case reflect.Slice:
		for i := range v.Len() {
			dumpValue(b, depth, fmt.Sprintf("%s[%d] ", strings.TrimSpace(label), i), v.Index(i))
		}
	case reflect.Struct:
		if v.IsZero() {
			return
		}
		line("%s", head(v))
		for i := range v.NumField() {
			if name := v.Type().Field(i).Name; name != "At" && !v.Field(i).IsZero() && !isLeaf(v) {
				dumpValue(b, depth+1, name+" ", v.Field(i))
			}
		}
	default:
		if !v.IsZero() {
			line("%v", v.Interface())
		}
	}
}

// isLeaf says that head writes the whole of a struct.
func isLeaf(v reflect.Value) bool {
	switch v.Interface().(type) {
	case syntax.Name, syntax.Text, syntax.Operand, syntax.Cell, syntax.Cond:
		return true
	}
	return false
}

func head(v reflect.Value) string {
	kinds := [...]string{syntax.Word: "word", syntax.String: "string", syntax.Number: "number", syntax.Duration: "duration", syntax.Clock: "clock", syntax.Bad: "bad"}
	switch x := v.Interface().(type) {
	case syntax.Name:
		return x.Text + " " + place(x.At)
	case syntax.Text:
		return fmt.Sprintf("%q %s", x.Text, place(x.At))
	case syntax.Cond:
		return fmt.Sprintf("cond %q %s", x.Text, place(x.At))
	case syntax.Cell:
		return fmt.Sprintf("row %d column %d %s", x.Row, x.Column, place(x.At))
	case syntax.Operand:
		if x.Kind == syntax.Bad && x.At.IsZero() {
			return "none"
		}
		return fmt.Sprintf("%s %q %s", kinds[x.Kind], x.Text, place(x.At))
	}
	name := v.Type().Name()
	if a, ok := v.Interface().(syntax.Action); ok {
		name += " " + a.Verb.Word
	}
	if at := v.FieldByName("At"); at.IsValid() {
		return name + " " + place(at.Interface().(source.Span))
	}
	return name
}

func place(s source.Span) string {
	a, b := s.Begin(), s.Finish()
	if a.Line == b.Line {
		return fmt.Sprintf("%d:%d-%d", a.Line, a.Column, b.Column)
	}
	return fmt.Sprintf("%d:%d-%d:%d", a.Line, a.Column, b.Line, b.Column)
}

// TestWalkIsInFileOrder visits every node of the samples, each after what
// stands before it.
func TestWalkIsInFileOrder(t *testing.T) {
	for _, text := range sampleShows(t) {
		f, _ := parse(text)
		last, conds, buttons := int32(0), 0, 0
		syntax.Walk(f, func(n any) bool {
			var at source.Span
			switch n := n.(type) {
			case *syntax.Cond:
				at, conds = n.At, conds+1
			case *syntax.Lamp:
				at = n.At
			case *syntax.Button:
				at, buttons = n.At, buttons+1
			case interface{ Span() source.Span }:
				at = n.Span()
			}
			if at.Start < last {
				t.Errorf("%T at %s comes after something that begins later", n, place(at))
			}
			last = at.Start
			return true
		})
		if want := strings.Count(text, "\n  button "); buttons != want || conds == 0 {
			t.Errorf("%d buttons and %d conditions visited, of %d buttons", buttons, conds, want)
		}
	}
}

// TestWalkStops does not go into what visit refuses.
func TestWalkStops(t *testing.T) {
	f, _ := parse(read(t, root+"shows/small/small.show"))
	syntax.Walk(f, func(n any) bool {
		if _, inside := n.(*syntax.Block); inside {
			t.Errorf("a block was visited")
		}
		return false
	})
}
