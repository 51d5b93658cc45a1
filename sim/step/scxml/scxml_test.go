package scxml

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
)

const both = `show "Both" uses "rack.yaml"
page front on desk {
  button 1.1 "Both" { together { { wait 1s; cut main to arm }; { wait 1s; key logo on } } }
}
`

// A document has a region for each script, in table order, and a state for each
// place where it rests, which starts its timer.
func TestRegions(t *testing.T) {
	p := simtest.Compile(t, both, simtest.MixerRack())
	text, err := Translate(p, NoMistake)
	if err != nil {
		t.Fatal(err)
	}
	var states []string
	for d := xml.NewDecoder(bytes.NewReader(text)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "state" {
			states = append(states, e.Attr[0].Value)
		}
	}
	const want = "outside task0 task0_idle task0_going task0_rest1 task1 task1_idle task1_going task1_rest1 " +
		"task2 task2_idle task2_going task2_rest1 task2_rest2 again"
	if got := strings.Join(states, " "); got != want {
		t.Errorf("states %s\nwant   %s", got, want)
	}
	rest := fmt.Sprintf(`<state id="task0_rest1">
<onentry>
<assign location="due%[1]d" expr="now + 1000000"/>
</onentry>
<onexit>
<assign location="due%[1]d" expr="-1"/>
</onexit>
</state>
`, p.Tasks[0].Timer)
	if !bytes.Contains(text, []byte(rest)) {
		t.Errorf("the first branch does not rest with a timer in\n%s", text)
	}
}

// The same show gives the same bytes, and a mistake gives others.
func TestSameBytes(t *testing.T) {
	p := simtest.Compile(t, both, simtest.MixerRack())
	var texts []string
	for _, m := range []Mistake{NoMistake, NoMistake, TimersBackward, ScriptsBackward, PassOutside} {
		text, err := Translate(p, m)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(text))
	}
	if texts[0] != texts[1] || texts[0] == texts[2] || texts[0] == texts[3] || texts[0] == texts[4] || texts[2] == texts[3] {
		t.Error("a document does not hang on the show and the mistake alone")
	}
}

// What cannot be written is refused.
func TestRefusals(t *testing.T) {
	m := simtest.New()
	camera := m.Source("camera", "live")
	from := []int32{camera}
	for range 4 { // 4 rows of 4 switches: 256 ways
		var row []int32
		for range 4 {
			row = append(row, m.Out(m.Switch("router", from...)))
		}
		from = row
	}
	m.Button("all", m.Do(program.Route, m.Destination("screen", m.Out(m.Switch("last", from...)), program.NeverOnAir), camera, 0))
	if _, err := Translate(m.Done(t), NoMistake); err == nil || !strings.Contains(err.Error(), "ways") {
		t.Errorf("256 ways: %v", err)
	}
	p := simtest.Compile(t, both, simtest.MixerRack())
	p.Code[1] = program.Instr{Op: program.Jump, B: 0}
	if _, err := Translate(p, NoMistake); err == nil || !strings.Contains(err.Error(), "goes back") {
		t.Errorf("code that goes back: %v", err)
	}
}
