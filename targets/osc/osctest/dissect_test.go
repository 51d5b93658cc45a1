package osctest

import (
	"strings"
	"testing"
	"time"

	"cuewright/targets/osc"
)

// What tshark reads in our packets is what was meant: each type of OSC 1.0 and
// 1.1 but arrays, which it does not know; bundles in bundles in their order,
// with their times.
func TestTsharkReadsWhatWasMeant(t *testing.T) {
	at := osc.TimeTagOf(time.Date(2026, 11, 5, 21, 4, 3, 250_000_000, time.UTC))
	horn := osc.Message{Path: "/horn", Args: []osc.Arg{osc.Int32(1)}}
	bare := osc.Message{Path: "/outlet/2"}
	cases := []struct {
		meant osc.Packet
		words string
	}{
		{bare, `/outlet/2 ,`},
		{horn, `/horn ,i 1`},
		{osc.Message{Path: "/n", Args: []osc.Arg{osc.Int32(-1 << 31), osc.Int64(1<<63 - 1), osc.Float32(0.1), osc.Float64(-1e300)}}, `/n ,ihfd -2147483648 9223372036854775807 0.1 -1e+300`},
		{osc.Message{Path: "/t", Args: []osc.Arg{osc.String("four"), osc.String(""), osc.Symbol("abc d"), osc.Char('~')}}, `/t ,ssSc "four" "" "abc d" "~"`},
		{osc.Message{Path: "/b", Args: []osc.Arg{osc.Blob([]byte{1, 2, 3, 0, 0xff}), osc.Int32(7), osc.Blob([]byte{0, 0, 0, 9})}}, `/b ,bib blob 01020300ff 7 blob 00000009`},
		{osc.Message{Path: "/x", Args: []osc.Arg{osc.Bool(true), osc.Bool(false), osc.Null(), osc.Infinitum(), osc.Int32(5)}}, `/x ,TFNIi true false nil bang 5`},
		{osc.Message{Path: "/m", Args: []osc.Arg{osc.MIDI(1, 0x9f, 0x3c, 0x7f), osc.Colour(0x10203040), osc.Time(at)}}, `/m ,mrt midi 01 9f 3c 7f 0x10203040 Nov  5, 2026 21:04:03.250`},
		{osc.Bundle{Time: osc.Immediately}, `{ immediately }`},
		{osc.Bundle{Time: at, Elements: []osc.Packet{horn, osc.Bundle{Time: at + 1<<31, Elements: []osc.Packet{bare, horn}}, bare}},
			`{ Nov  5, 2026 21:04:03.250 +16 /horn ,i 1 +56 { Nov  5, 2026 21:04:03.750 +16 /outlet/2 , +16 /horn ,i 1 } +16 /outlet/2 , }`},
	}
	var all []Datagram
	for _, c := range cases {
		data, err := osc.AppendPacket(nil, c.meant)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, Datagram{time.Now(), data})
	}
	for i, got := range Dissect(t, all) {
		if got != cases[i].words {
			t.Errorf("packet %d: tshark reads %s\n\tmeant: %s", i, got, cases[i].words)
		}
		if ours := Words(cases[i].meant); ours != cases[i].words {
			t.Errorf("packet %d: Words says %s\n\tmeant: %s", i, ours, cases[i].words)
		}
	}
}

// What is not OSC is not taken for it, so that a broken packet of ours would
// be seen.
func TestTsharkRefusesWhatIsNone(t *testing.T) {
	good, err := osc.AppendMessage(nil, "/bank/1/program", osc.Int32(3))
	if err != nil {
		t.Fatal(err)
	}
	all := []Datagram{{Data: good[:len(good)-1]}, {Data: []byte("/bank/1/program\x00,i\x00")}, {Data: append([]byte("bank"), good[4:]...)}}
	for i, got := range Dissect(t, all) {
		if strings.HasPrefix(got, "/bank/1/program ,i 3") {
			t.Errorf("packet %d is taken for %s", i, got)
		}
	}
}
