package osc

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestCheckAddress(t *testing.T) {
	for _, good := range []string{"/a", "/bank/1/program", "/a.b", "/A-B_c", "/x!"} {
		if err := CheckAddress(good); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	for _, bad := range []string{"", "a", "/", "//", "/a/", "/a//b", "/a b", "/#", "/a*", "/a,b", "/a?", "/[", "/]", "/{", "/}", "/ü", "/a\x00", "/a\n"} {
		if CheckAddress(bad) == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

func TestEncodeRefuses(t *testing.T) {
	for name, m := range map[string]Message{
		"a NUL in a text":        {"/a", []Arg{String("x\x00,i")}},
		"a NUL at the beginning": {"/a", []Arg{String("\x00x")}},
		"not UTF-8":              {"/a", []Arg{Symbol("\xff")}},
		"no such tag":            {"/a", []Arg{{}}},
		"a pattern":              {"/a*", nil},
		"an open array":          {"/a", []Arg{ArrayStart()}},
		"a closed array":         {"/a", []Arg{ArrayEnd(), ArrayStart()}},
		"arrays too deep":        {"/a", append(repeat(ArrayStart(), MaxDepth+1), repeat(ArrayEnd(), MaxDepth+1)...)},
		"too long":               {"/a", []Arg{String(strings.Repeat("x", MaxPacket))}},
	} {
		if b, err := Encode(m); err == nil {
			t.Errorf("%s: %x", name, b)
		}
		if b, err := AppendMessage([]byte("kept"), m.Path, m.Args...); err == nil || string(b) != "kept" {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
}

func repeat(a Arg, n int) []Arg {
	all := make([]Arg, n)
	for i := range all {
		all[i] = a
	}
	return all
}

func TestBundleRefuses(t *testing.T) {
	for name, b := range map[string]Bundle{
		"an inner bundle dated earlier": {Time: 100 << 32, Elements: []Packet{Bundle{Time: 99 << 32}}},
		"a bundle too deep":             deepBundle(MaxDepth + 1),
		"a bundle too long": {Time: 1, Elements: []Packet{
			Message{"/a", []Arg{Blob(make([]byte, 40000))}}, Message{"/a", []Arg{Blob(make([]byte, 40000))}}}},
		"nothing": {Time: 1, Elements: []Packet{nil}},
	} {
		if got, err := AppendPacket(nil, b); err == nil {
			t.Errorf("%s: %d bytes", name, len(got))
		}
	}
	for _, bad := range []string{"", "/ab", "abcd", "\x00\x00\x00\x00"} {
		if _, err := AppendBundle(nil, 1, []byte(bad)); err == nil {
			t.Errorf("%q is taken as an element", bad)
		}
	}
	if _, err := AppendPacket(nil, deepBundle(MaxDepth)); err != nil {
		t.Error(err)
	}
}

func deepBundle(depth int) Bundle {
	b := Bundle{Time: Immediately}
	for range depth - 1 {
		b = Bundle{Time: Immediately, Elements: []Packet{b}}
	}
	return b
}

// Nesting is bounded before the stack is: 4,000 bundles in one another.
func TestDecodeOfDeepBundles(t *testing.T) {
	packet, _ := AppendPacket(nil, Bundle{Time: 1})
	for range MaxDepth - 1 {
		packet, _ = AppendBundle(nil, Immediately, packet)
	}
	if _, err := Decode(packet); err != nil {
		t.Error(err)
	}
	for len(packet) < MaxPacket-20 {
		packet, _ = AppendBundle(nil, Immediately, packet)
	}
	if p, err := Decode(packet); err == nil {
		t.Errorf("got %v", p)
	}
}

func drawArg(t *rapid.T) Arg {
	text := rapid.StringOfN(rapid.RuneFrom([]rune("aZ0 ,/#ü€")), 0, 9, -1)
	switch rapid.SampledFrom([]byte("ifsbhtdScrmTFNI")).Draw(t, "tag") {
	case 'i':
		return Int32(rapid.Int32().Draw(t, "i"))
	case 'f':
		return Float32(rapid.Float32().Draw(t, "f"))
	case 's':
		return String(text.Draw(t, "s"))
	case 'b':
		return Blob(rapid.SliceOfN(rapid.Byte(), 0, 9).Draw(t, "b"))
	case 'h':
		return Int64(rapid.Int64().Draw(t, "h"))
	case 't':
		return Time(TimeTag(rapid.Uint64().Draw(t, "t")))
	case 'd':
		return Float64(rapid.Float64().Draw(t, "d"))
	case 'S':
		return Symbol(text.Draw(t, "S"))
	case 'c':
		return Char(rapid.Byte().Draw(t, "c"))
	case 'r':
		return Colour(rapid.Uint32().Draw(t, "r"))
	case 'm':
		return MIDI(rapid.Byte().Draw(t, "m"), 0x90, 60, 127)
	case 'T':
		return Bool(true)
	case 'F':
		return Bool(false)
	case 'N':
		return Null()
	}
	return Infinitum()
}

func drawMessage(t *rapid.T) Message {
	path := rapid.StringMatching(`(/[a-z0-9._-]{1,6}){1,3}`).Draw(t, "path")
	args := rapid.SliceOfN(rapid.Custom(drawArg), 0, 8).Draw(t, "args")
	if len(args) > 1 && rapid.Bool().Draw(t, "array") {
		args = append(append([]Arg{ArrayStart()}, args...), ArrayEnd())
	}
	return Message{path, args}
}

func TestDecodeOfEncodeIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t)
		packet, err := Encode(m)
		if err != nil {
			t.Fatal(err)
		}
		mine, err := AppendMessage(nil, m.Path, m.Args...)
		if err != nil || !bytes.Equal(packet, mine) {
			t.Fatalf("go-osc writes %x, we write %x (%v)", packet, mine, err)
		}
		back, err := Decode(packet)
		if err != nil {
			t.Fatal(err)
		}
		got := back.(Message)
		if got.Path != m.Path || len(got.Args) != len(m.Args) {
			t.Fatalf("%v came back as %v", m, got)
		}
		for i := range got.Args {
			if got.Args[i] != m.Args[i] {
				t.Fatalf("argument %d of %v came back as %v", i, m, got.Args[i])
			}
		}
	})
}

func TestBundleKeepsOrderAndTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []string
		var build func(time TimeTag, depth int) Bundle
		build = func(time TimeTag, depth int) Bundle {
			b := Bundle{Time: time}
			for range rapid.IntRange(0, 3).Draw(t, "elements") {
				if depth < 3 && rapid.Bool().Draw(t, "bundle") {
					later := time + TimeTag(rapid.Uint32().Draw(t, "later"))
					b.Elements = append(b.Elements, build(later, depth+1))
					continue
				}
				m := drawMessage(t)
				want = append(want, m.Path)
				b.Elements = append(b.Elements, m)
			}
			return b
		}
		b := build(TimeTag(rapid.Uint64Range(2, math.MaxUint64-1<<40).Draw(t, "time")), 0)
		packet, err := AppendPacket(nil, b)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Decode(packet)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		Each(back, func(m Message) { got = append(got, m.Path) })
		if fmt.Sprint(got) != fmt.Sprint(want) || fmt.Sprint(back) != fmt.Sprint(b) {
			t.Fatalf("%v came back as %v", b, back)
		}
	})
}

func TestTimeTag(t *testing.T) {
	utc := func(text string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		time string
		tag  TimeTag
	}{
		{"1970-01-01T00:00:00Z", 0x83AA7E80_00000000},   // RFC 5905 section 6: 2,208,988,800 s
		{"1970-01-01T00:00:00.5Z", 0x83AA7E80_80000000}, // encoded alike by liblo, npm osc, osc-min
		{"2024-01-01T00:00:00Z", 0xE93C7F00_00000000},   // by arithmetic: 19,723 days of 86,400 s later
		{"2036-02-07T06:28:15Z", 0xFFFFFFFF_00000000},   // the last second of NTP era 0
		{"2036-02-07T06:28:16Z", 0x00000000_00000000},   // the first of era 1
	} {
		at := utc(c.time)
		if got := TimeTagOf(at); got != c.tag {
			t.Errorf("%s is %v, want %v", c.time, got, c.tag)
		}
		for _, near := range []time.Time{at, at.AddDate(-60, 0, 0), at.AddDate(60, 0, 0)} {
			if got := c.tag.Time(near); !got.Equal(at) {
				t.Errorf("%v near %v is %v, want %v", c.tag, near, got, at)
			}
		}
	}
	before, after := TimeTagOf(utc("2036-02-07T06:28:10Z")), TimeTagOf(utc("2036-02-07T06:28:20Z"))
	if !before.Before(after) || after.Before(before) || before.Before(before) {
		t.Error("tags on the two sides of the era's end are not in order")
	}
	if !Immediately.Before(before) || before.Before(Immediately) || Immediately.Before(Immediately) {
		t.Error("immediately is not before everything else")
	}
	if now := time.Now(); !Immediately.Time(now).Equal(now) {
		t.Error("immediately is not now")
	}
}

func TestTimeTagKeepsNanoseconds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.Unix(rapid.Int64Range(0, 1<<32).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		if back := TimeTagOf(at).Time(at); !back.Equal(at) {
			t.Fatalf("%v came back as %v", at, back)
		}
	})
}

func TestArgForPeople(t *testing.T) {
	for want, a := range map[string]Arg{
		"3": Int32(3), "-1": Int64(-1), "0.1": Float32(0.1), "0.2": Float64(0.2), `"a\n"`: String("a\n"), `"sym"`: Symbol("sym"),
		"2 bytes 01ff": Blob([]byte{1, 255}), "immediately": Time(Immediately), "00000002.00000000": Time(2 << 32), "'A'": Char('A'),
		"colour 112233ff": Colour(0x112233ff), "midi 01 90 3c 7f": MIDI(1, 0x90, 0x3c, 0x7f),
		"true": Bool(true), "false": Bool(false), "null": Null(), "infinitum": Infinitum(), "[": ArrayStart(), "]": ArrayEnd(),
	} {
		if got := a.String(); got != want {
			t.Errorf("%c is %s, want %s", a.Tag, got, want)
		}
	}
	if Int32(3).Float() != 0 || Float32(3).Int() != 0 || Int32(3).Text() != "" || Int32(3).Bytes() != nil || Int32(3).Time() != 0 {
		t.Error("a value is given as one of another tag")
	}
	if String("x").Text() != "x" || Float64(1.5).Float() != 1.5 || Char('A').Int() != 'A' || !bytes.Equal(Colour(1).Bytes(), []byte{0, 0, 0, 1}) {
		t.Error("a value is not given")
	}
}

// 60 KB of pattern characters took go-osc 3.9 s and 1.8 GiB. Here the work is
// counted instead of timed: the ways through are kept as one set, so these end.
func TestMatchOfLongPatterns(t *testing.T) {
	long := strings.Repeat("a", 100)
	for pattern, want := range map[string]bool{
		"/" + strings.Repeat("*", 60000):                    true,
		"/" + strings.Repeat("*a", 30000):                   false,
		"/" + strings.Repeat("*a", 100) + "*":               true,
		"/" + strings.Repeat("{a,aa,aaa}", 6000):            false,
		"/" + strings.Repeat("{a,}", 15000):                 true,
		"/" + strings.Repeat("{a,aa}*", 50):                 true,
		"/{" + strings.Repeat("a,", 30000) + "b}*":          true,
		"/" + strings.Repeat("[!b]", 100):                   true,
		"/[" + strings.Repeat("a-z", 20000):                 false,
		strings.Repeat("/*", 30000):                         false,
		"/" + strings.Repeat("?", 100) + "*{,a}[a-z]{,b}":   false,
		"/" + strings.Repeat("?", 98) + "*{,a}[a-z]{,b}{,}": true,
	} {
		if got := Match(pattern, "/"+long); got != want {
			t.Errorf("Match(%.20s…) = %v", pattern, got)
		}
	}
	if !Match("/"+strings.Repeat("x", 500)+"*", "/"+strings.Repeat("x", 900)) {
		t.Error("a long name does not match")
	}
}

func TestAllocations(t *testing.T) {
	m := Message{"/bank/1/program", []Arg{Int32(3), String("wide"), Float32(0.5)}}
	packet, err := Encode(m)
	if err != nil {
		t.Fatal(err)
	}
	dst := make([]byte, 0, 256)
	if n := testing.AllocsPerRun(100, func() { dst, _ = AppendMessage(dst[:0], m.Path, m.Args...) }); n != 0 {
		t.Errorf("AppendMessage allocates %v times", n)
	}
	if n := testing.AllocsPerRun(100, func() { dst, _ = AppendBundle(dst[:0], Immediately, packet, packet) }); n != 0 {
		t.Errorf("AppendBundle allocates %v times", n)
	}
	if n := testing.AllocsPerRun(100, func() { Match("/ba*/[0-9]/{preset,program}", m.Path) }); n != 0 {
		t.Errorf("Match allocates %v times", n)
	}
	// The copy of the packet, the arguments, and the Packet itself.
	if n := testing.AllocsPerRun(100, func() { _, _ = Decode(packet) }); n > 3 {
		t.Errorf("Decode allocates %v times", n)
	}
}

func FuzzDecode(f *testing.F) {
	for _, line := range lines(f, "rejects.txt") {
		packet, _, _ := strings.Cut(line, " | ")
		f.Add(unhex(f, packet))
	}
	all := lines(f, "messages.txt")
	for i := 1; i < len(all); i += 2 {
		f.Add(unhex(f, all[i]))
	}
	b, _ := AppendBundle(nil, 9, unhex(f, all[1]), unhex(f, all[3]))
	f.Add(b)
	f.Fuzz(func(t *testing.T, packet []byte) {
		p, err := Decode(packet)
		if err != nil {
			return
		}
		again, err := AppendPacket(nil, p)
		if err != nil {
			return // a pattern, or a text that is not UTF-8: received, not sent
		}
		// An untagged message gets its comma, a discarded one is gone; else it is the same packet.
		back, err := Decode(again)
		if err != nil {
			t.Fatalf("%x: %v", again, err)
		}
		third, err := AppendPacket(nil, back)
		if err != nil || !bytes.Equal(again, third) {
			t.Fatalf("%x, then %x (%v)", again, third, err)
		}
	})
}

func FuzzMatch(f *testing.F) {
	for _, line := range lines(f, "match.txt") {
		w := strings.Fields(line)
		f.Add(w[0], w[1])
	}
	f.Fuzz(func(t *testing.T, pattern, address string) {
		got := Match(pattern, address)
		if !IsPattern(pattern) && got != (pattern == address && strings.HasPrefix(pattern, "/")) {
			t.Fatalf("Match(%q, %q) = %v", pattern, address, got)
		}
		if len(pattern) < 30 && len(address) < 30 && got != slowMatch(pattern, address) {
			t.Fatalf("Match(%q, %q) = %v", pattern, address, got)
		}
	})
}

// slowMatch says again what Match says, by trying every way.
func slowMatch(pattern, address string) bool {
	p, a := strings.Split(pattern, "/"), strings.Split(address, "/")
	if len(p) != len(a) || p[0] != "" || a[0] != "" || len(p) < 2 {
		return false
	}
	for i := range p {
		if !slowPart(p[i], a[i]) {
			return false
		}
	}
	return true
}

func slowPart(p, a string) bool {
	if p == "" {
		return a == ""
	}
	switch p[0] {
	case '*':
		for i := range len(a) + 1 {
			if slowPart(p[1:], a[i:]) {
				return true
			}
		}
		return false
	case '{':
		list, rest, ok := strings.Cut(p[1:], "}")
		for _, w := range strings.Split(list, ",") {
			if tail, has := strings.CutPrefix(a, w); ok && has && slowPart(rest, tail) {
				return true
			}
		}
		return false
	case '[':
		list, rest, ok := strings.Cut(p[1:], "]")
		return ok && a != "" && slowSet(list, a[0]) && slowPart(rest, a[1:])
	}
	return a != "" && (p[0] == '?' || p[0] == a[0]) && slowPart(p[1:], a[1:])
}

func slowSet(list string, c byte) bool {
	if rest, not := strings.CutPrefix(list, "!"); not {
		return !inList(rest, c)
	}
	return inList(list, c)
}

func inList(list string, c byte) bool {
	for list != "" {
		if len(list) > 2 && list[1] == '-' {
			if list[0] <= c && c <= list[2] {
				return true
			}
			list = list[3:]
			continue
		}
		if list[0] == c {
			return true
		}
		list = list[1:]
	}
	return false
}

func BenchmarkAppendMessage(b *testing.B) {
	m := Message{"/bank/1/program", []Arg{Int32(3)}}
	dst := make([]byte, 0, 256)
	b.ReportAllocs()
	for b.Loop() {
		dst, _ = AppendMessage(dst[:0], m.Path, m.Args...)
	}
}

func BenchmarkDecode(b *testing.B) {
	packet, _ := AppendMessage(nil, "/bank/1/program", Int32(3))
	b.ReportAllocs()
	for b.Loop() {
		_, _ = Decode(packet)
	}
}

func BenchmarkMatchLongPattern(b *testing.B) {
	pattern := "/" + strings.Repeat("{a,aa}*", 8500)
	address := "/" + strings.Repeat("a", 60)
	b.ReportAllocs()
	for b.Loop() {
		Match(pattern, address)
	}
}
