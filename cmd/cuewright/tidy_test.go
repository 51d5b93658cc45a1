package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const tree = "../../"

// longFunctions are the functions of more than longest lines, with their
// number of lines: dispatch switches. The list may shrink; a number may fall.
var longFunctions = map[string]int{}

// longFiles are the files of more than longestFile lines, with their number.
// The list may shrink; a number may fall.
var longFiles = map[string]int{}

// rescues are the files that may recover, because what they call may panic.
var rescues = map[string]string{"macro/plan/tree.go": "yaml.v3"}

const (
	longest     = 70  // lines of a function
	longestFile = 600 // lines of a file that is no test
)

// sources visits every Go file of the tree that is no test.
func sources(t *testing.T, visit func(path string, text []byte, file *ast.File, set *token.FileSet)) {
	t.Helper()
	set := token.NewFileSet()
	err := filepath.WalkDir(tree, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(set, path, text, parser.ParseComments)
		if err != nil {
			return err
		}
		visit(strings.TrimPrefix(filepath.ToSlash(path), tree), text, file, set)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestNoPanic: what cannot happen goes through macro/bug, which reports it in
// the field instead of ending the show.
func TestNoPanic(t *testing.T) {
	sources(t, func(path string, _ []byte, file *ast.File, set *token.FileSet) {
		if strings.HasPrefix(path, "macro/bug/") {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if name, ok := call.Fun.(*ast.Ident); ok && (name.Name == "panic" || name.Name == "recover" && rescues[path] == "") {
				t.Errorf("%s: %s", set.Position(call.Pos()), name.Name)
			}
			return true
		})
	})
}

// TestExportedNamesAreDocumented: every exported name has a comment, its own
// or that of its group.
func TestExportedNamesAreDocumented(t *testing.T) {
	sources(t, func(path string, _ []byte, file *ast.File, set *token.FileSet) {
		for _, decl := range file.Decls {
			for _, name := range undocumented(decl) {
				t.Errorf("%s: %s has no comment", path, name)
			}
		}
	})
}

func undocumented(decl ast.Decl) []string {
	var names []string
	switch d := decl.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) && !obvious(d.Name.Name) {
			names = append(names, d.Name.Name)
		}
	case *ast.GenDecl:
		for _, spec := range d.Specs {
			switch s := spec.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() && d.Doc == nil && s.Doc == nil {
					names = append(names, s.Name.Name)
				}
			case *ast.ValueSpec:
				for _, n := range s.Names {
					if n.IsExported() && d.Doc == nil && s.Doc == nil && s.Comment == nil {
						names = append(names, n.Name)
					}
				}
			}
		}
	}
	return names
}

// exportedReceiver says whether a function is one of the package or a method
// of an exported type.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	typ := d.Recv.List[0].Type
	if star, ok := typ.(*ast.StarExpr); ok {
		typ = star.X
	}
	name, ok := typ.(*ast.Ident)
	return ok && name.IsExported()
}

// obvious methods are those whose meaning their interface gives.
func obvious(name string) bool {
	return slices.Contains([]string{"String", "Error", "Unwrap", "Span"}, name)
}

// TestSizes: functions and files stay small enough to be read at once.
func TestSizes(t *testing.T) {
	seen := map[string]bool{}
	sources(t, func(path string, text []byte, file *ast.File, set *token.FileSet) {
		if n := bytes.Count(text, []byte("\n")); n > max(longestFile, longFiles[path]) {
			t.Errorf("%s has %d lines, %d is the most", path, n, max(longestFile, longFiles[path]))
		} else if was, ok := longFiles[path]; ok && n < was {
			t.Errorf("%s has only %d lines now: write that into longFiles, or leave it out", path, n)
		}
		for _, decl := range file.Decls {
			f, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			lines := set.Position(f.End()).Line - set.Position(f.Pos()).Line + 1
			key := fmt.Sprintf("%s %s", filepath.ToSlash(filepath.Dir(path)), f.Name.Name)
			allowed := max(longest, longFunctions[key])
			if lines > allowed {
				t.Errorf("%s has %d lines, %d is the most", key, lines, allowed)
			}
			if was, ok := longFunctions[key]; ok && lines < was {
				t.Errorf("%s has only %d lines now: write that into longFunctions, or leave it out", key, lines)
			}
			seen[key] = true
		}
	})
	for key := range longFunctions {
		if !seen[key] {
			t.Errorf("longFunctions names %s, which is no more", key)
		}
	}
}

// TestNoMachinePaths: nothing in the tree depends on where it was written.
func TestNoMachinePaths(t *testing.T) {
	bad := []string{"/ro" + "ot/", "/ho" + "me/", "/wo" + "rk/", "/Us" + "ers/"}
	err := filepath.WalkDir(tree, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == ".git" {
				return filepath.SkipDir
			}
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, b := range bad {
			if bytes.Contains(text, []byte(b)) && !bytes.HasPrefix(text, []byte("\x7fELF")) {
				t.Errorf("%s names a place of one machine: %s", path, b)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
