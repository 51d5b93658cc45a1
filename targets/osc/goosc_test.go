package osc

// Why go-osc is used for writing plain messages only: each test shows one of
// its faults, then that ours does better. This is the only file that may use
// more of it than Message, NewMessage and MarshalBinary.

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	goosc "github.com/hypebeast/go-osc/osc"
)

func TestGoOSCMatchingPanicsOnEightBytes(t *testing.T) {
	for _, path := range []string{"/[", "/{", "/++", `/\`, "/[z-a]"} {
		panicked := func() (yes bool) {
			defer func() { yes = recover() != nil }()
			goosc.NewMessage(path).Match("/a")
			return false
		}()
		if !panicked {
			t.Errorf("go-osc no longer panics on %s", path)
		}
		if Match(path, "/a") {
			t.Errorf("%s matches /a", path)
		}
	}
}

func TestGoOSCMatchesPrefixesAndCrossesSlashes(t *testing.T) {
	for _, c := range [][2]string{{"/aux", "/aux/3/source"}, {"/a*", "/a/b"}, {"/a?c", "/a/c"}, {"/[!a]", "/a"}, {"/a|/b", "/b"}, {"/a+", "/aa"}} {
		if !goosc.NewMessage(c[0]).Match(c[1]) {
			t.Errorf("go-osc no longer matches %s with %s", c[0], c[1])
		}
		if Match(c[0], c[1]) {
			t.Errorf("%s matches %s", c[0], c[1])
		}
	}
}

func TestGoOSCEncodesNoOtherTypes(t *testing.T) {
	for _, v := range []any{1, uint8(1), uint32(1), []int32{1}} {
		if _, err := goosc.NewMessage("/a", v).MarshalBinary(); err == nil {
			t.Errorf("go-osc now encodes %T", v)
		}
	}
	if _, err := Encode(Message{"/a", []Arg{ArrayStart(), Colour(1), MIDI(1, 2, 3, 4), Symbol("x"), Char('c'), Infinitum(), ArrayEnd()}}); err != nil {
		t.Error(err)
	}
}

func TestGoOSCReadsLegalPacketsAsErrors(t *testing.T) {
	for _, m := range []Message{
		{"/a", []Arg{MIDI(1, 2, 3, 4)}}, {"/a", []Arg{Infinitum()}}, {"/a", []Arg{Symbol("x")}}, {"/a", []Arg{Colour(1)}},
		{"/a", []Arg{Char('c')}}, {"/a", []Arg{ArrayStart(), ArrayEnd()}}, {"/a", []Arg{Blob(nil)}}, {"/a", []Arg{Blob(make([]byte, 5000))}},
	} {
		packet, err := Encode(m)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := goosc.ParsePacket(string(packet)); err == nil {
			t.Errorf("go-osc now reads %.30v", m)
		}
		if _, err := Decode(packet); err != nil {
			t.Errorf("%.30v: %v", m, err)
		}
	}
}

func TestGoOSCGivesNeitherPacketNorError(t *testing.T) {
	if p, err := goosc.ParsePacket("abcd"); p != nil || err != nil {
		t.Errorf("go-osc now gives %v, %v", p, err)
	}
	if p, err := Decode([]byte("abcd")); err == nil {
		t.Errorf("got %v", p)
	}
}

func TestGoOSCTextWithNULLosesItsEnd(t *testing.T) {
	b, err := goosc.NewMessage("/a", "x\x00y").MarshalBinary()
	if err != nil || bytes.Contains(b, []byte("y")) {
		t.Errorf("go-osc now writes %q, %v", b, err)
	}
}

func TestGoOSCTextThatBeginsWithNULInjects(t *testing.T) {
	b, err := goosc.NewMessage("/a", "\x00abc", int32(1)).MarshalBinary()
	if err != nil || len(b)%4 != 0 {
		t.Fatalf("go-osc now writes %x, %v", b, err)
	}
	p, err := Decode(b)
	if err == nil && p.(Message).Args[1] == Int32(1) {
		t.Errorf("go-osc now writes it rightly: %x", b)
	}
	if _, err := Encode(Message{"/a", []Arg{String("\x00abc"), Int32(1)}}); err == nil {
		t.Error("we write it")
	}
}

func TestGoOSCBundlesLoseTheirOrder(t *testing.T) {
	b := goosc.NewBundle(time.Unix(0, 0))
	_ = b.Append(goosc.NewBundle(time.Unix(0, 0)))
	_ = b.Append(goosc.NewMessage("/after"))
	packet, err := b.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	p, err := Decode(packet)
	if err != nil {
		t.Fatal(err)
	}
	if _, first := p.(Bundle).Elements[0].(Message); !first {
		t.Error("go-osc now keeps the order")
	}
}

func TestGoOSCBundleSwallowsItsSiblings(t *testing.T) {
	packet, err := AppendPacket(nil, Bundle{Time: 1, Elements: []Packet{Bundle{Time: 1}, Message{Path: "/after"}}})
	if err != nil {
		t.Fatal(err)
	}
	p, err := goosc.ParsePacket(string(packet))
	if b, ok := p.(*goosc.Bundle); err == nil && ok && len(b.Messages) == 1 {
		t.Error("go-osc now reads siblings of bundles")
	}
	back, err := Decode(packet)
	if err != nil || len(back.(Bundle).Elements) != 2 {
		t.Errorf("got %v, %v", back, err)
	}
}

func TestGoOSCIgnoresElementSizes(t *testing.T) {
	for _, size := range []string{"\x00\x00\x00\x00", "\xff\xff\xff\xff", "\x7f\xff\xff\xff"} {
		packet := "#bundle\x00\x00\x00\x00\x00\x00\x00\x00\x01" + size + "/a\x00\x00,\x00\x00\x00"
		if _, err := goosc.ParsePacket(packet); err != nil {
			t.Errorf("go-osc now minds size %x: %v", size, err)
		}
		if p, err := Decode([]byte(packet)); err == nil {
			t.Errorf("size %x gives %v", size, p)
		}
	}
}

func TestGoOSCLongBundleLosesItsTail(t *testing.T) {
	var elements [][]byte
	one, _ := AppendMessage(nil, "/a", Int32(1))
	for range 400 {
		elements = append(elements, one)
	}
	packet, err := AppendBundle(nil, 1, elements...)
	if err != nil {
		t.Fatal(err)
	}
	p, err := goosc.ParsePacket(string(packet))
	if b, ok := p.(*goosc.Bundle); err == nil && ok && len(b.Messages) == 400 {
		t.Error("go-osc now reads long bundles whole")
	}
	back, err := Decode(packet)
	if err != nil || len(back.(Bundle).Elements) != 400 {
		t.Errorf("%v", err)
	}
}

func TestGoOSCTimeTagsLoseBitsAndTheEra(t *testing.T) {
	exact := uint64(0xe8000000_12345679)
	if goosc.NewTimetagFromTimetag(exact).TimeTag() == exact {
		t.Error("go-osc now keeps all bits")
	}
	if p, err := AppendMessage(nil, "/a", Time(TimeTag(exact))); err != nil || !bytes.HasSuffix(p, []byte{0xe8, 0, 0, 0, 0x12, 0x34, 0x56, 0x79}) {
		t.Errorf("got %x, %v", p, err)
	}
	after := time.Date(2036, 2, 8, 0, 0, 0, 0, time.UTC)
	if goosc.NewTimetagFromTimetag(uint64(TimeTagOf(after))).Time().Year() == 2036 {
		t.Error("go-osc now knows NTP era 1")
	}
	if got := TimeTagOf(after).Time(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)); !got.Equal(after) {
		t.Errorf("got %v", got)
	}
}

// inTree calls look for every Go file of the project.
func inTree(t *testing.T, look func(path string, f *ast.File)) {
	t.Helper()
	files := 0
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if f != nil { // a file in the middle of being written still shows its imports
			files++
			look(path, f)
		}
		_ = err
		return nil
	})
	if err != nil || files < 10 {
		t.Fatalf("only %d files were looked at: %v", files, err)
	}
}

// The dispatcher, server, client, reader and matching of go-osc are forbidden:
// see the tests above and the measurements that DEVELOPERS.md tells of.
func TestOnlyWritingOfGoOSCIsUsed(t *testing.T) {
	const path = `"github.com/hypebeast/go-osc/osc"`
	users := 0
	inTree(t, func(file string, f *ast.File) {
		at := slices.IndexFunc(f.Imports, func(i *ast.ImportSpec) bool { return i.Path.Value == path })
		if at < 0 || strings.HasSuffix(file, filepath.Join("osc", "goosc_test.go")) {
			return
		}
		users++
		for _, use := range forbidden(f, f.Imports[at]) {
			t.Errorf("%s uses %s of go-osc", file, use)
		}
	})
	if users == 0 {
		t.Error("nothing uses go-osc: is the import path still right?")
	}
}

// forbidden lists what f uses of go-osc and may not: all but NewMessage,
// Message and its MarshalBinary.
func forbidden(f *ast.File, imported *ast.ImportSpec) []string {
	name := "osc"
	if imported.Name != nil {
		name = imported.Name.Name
	}
	var found []string
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if x, ok := s.X.(*ast.Ident); ok && x.Name == name && s.Sel.Name != "NewMessage" && s.Sel.Name != "Message" {
			found = append(found, s.Sel.Name)
		}
		if call, ok := s.X.(*ast.CallExpr); ok && s.Sel.Name != "MarshalBinary" {
			if made, ok := call.Fun.(*ast.SelectorExpr); ok && fmt.Sprint(made.X) == name {
				found = append(found, s.Sel.Name)
			}
		}
		return true
	})
	if name == "." || name == "_" {
		found = append(found, "a dot import")
	}
	return found
}

func TestForbiddenUsesAreSeen(t *testing.T) {
	for use, want := range map[string]string{
		"o.Server{}":                          "Server",
		"&o.Client{}":                         "Client",
		"o.NewStandardDispatcher()":           "NewStandardDispatcher",
		`o.ParsePacket("")`:                   "ParsePacket",
		`o.NewMessage("/a").Match("/a")`:      "Match",
		`o.NewMessage("/a").MarshalBinary`:    "",
		`o.NewBundle(t)`:                      "NewBundle",
		`func(m *o.Message) { _ = m.Address}`: "",
	} {
		src := "package p\nimport o \"github.com/hypebeast/go-osc/osc\"\nvar x = " + use
		f, err := parser.ParseFile(token.NewFileSet(), "p.go", src, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(forbidden(f, f.Imports[0]), " "); got != want {
			t.Errorf("%s: found %q, want %q", use, got, want)
		}
	}
}
