package scxml

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

// The peer is npm @scion-scxml/scxml (.ci/peers.json), an interpreter of SCXML.
// Without it these tests are skipped, unless CUEWRIGHT_PEERS is 1.

// job is a document, and what happens to it.
type job struct {
	Document string  `json:"document"`
	Inputs   []input `json:"inputs"`
}

// input is some events of one moment, in microseconds.
type input struct {
	At     int64    `json:"at"`
	Events []string `json:"events"`
}

// answer is what the interpreter has done with a job.
type answer struct {
	Error string `json:"error"`
	Steps []struct {
		Event string                     `json:"event"`
		At    int64                      `json:"at"`
		Data  map[string]json.RawMessage `json:"data"`
		Said  [][]json.RawMessage        `json:"said"`
	} `json:"steps"`
}

// interpret gives all jobs to one process of the interpreter.
func interpret(t *testing.T, jobs []job) []answer {
	t.Helper()
	modules := findInterpreter(t)
	var in bytes.Buffer
	for _, j := range jobs {
		if err := json.NewEncoder(&in).Encode(j); err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	node := exec.CommandContext(ctx, "node", "testdata/interpreter.cjs")
	node.Env = append(os.Environ(), "NODE_PATH="+modules)
	node.Stdin = &in
	var out, faults bytes.Buffer
	node.Stdout, node.Stderr = &out, &faults
	if err := node.Run(); err != nil {
		t.Fatalf("%v\n%s", err, faults.Bytes())
	}
	answers := make([]answer, len(jobs))
	lines := json.NewDecoder(&out)
	for i := range answers {
		if err := lines.Decode(&answers[i]); err != nil {
			t.Fatalf("answer %d of %d: %v", i, len(jobs), err)
		}
	}
	return answers
}

// findInterpreter gives the folder that it is in, and skips the test when there
// is none.
func findInterpreter(t *testing.T) string {
	t.Helper()
	modules := os.Getenv("CUEWRIGHT_NODE_MODULES")
	_, err := os.Stat(modules + "/@scion-scxml/scxml/package.json")
	if _, missing := exec.LookPath("node"); missing != nil {
		err = missing
	}
	if err == nil {
		return modules
	}
	if os.Getenv("CUEWRIGHT_PEERS") == "1" {
		t.Fatalf("CUEWRIGHT_PEERS=1 demands node and npm @scion-scxml/scxml: %v", err)
	}
	t.Skip("npm @scion-scxml/scxml is not here: set CUEWRIGHT_NODE_MODULES to a node_modules folder made from .ci/peers.json")
	return ""
}

// A chart is a small document, and the order in which the Recommendation has it
// log its words after its start and then with some events that come together.
// Section is where that is written: appendix D is the Algorithm for SCXML
// Interpretation, by its procedure.
type chart struct {
	name, section, body string
	events, words       string
}

// charts are what Translate relies on.
var charts = []chart{
	{"of two transitions of a state the first in document order is taken", "3.13; D selectTransitions",
		`<state id="s"><transition event="e" cond="false" target="a"><log label="never"/></transition>` +
			`<transition event="e" target="a"><log label="first"/></transition><transition event="e" target="a"><log label="second"/></transition></state><state id="a"/>`,
		"e", "first"},
	{"a transition of an inner state goes before one of the outer", "3.13; D selectTransitions",
		`<state id="o"><transition event="e"><log label="outer"/></transition><state id="i"><transition event="e"><log label="inner"/></transition></state></state>`,
		"e", "inner"},
	{"transitions of regions are taken in one microstep in document order", "3.4; D executeTransitionContent",
		`<parallel id="p"><state id="b"><transition event="e"><log label="b"/></transition></state>` +
			`<state id="a"><state id="a1"><transition event="e"><log label="a"/></transition></state></state><state id="c"><transition event="e"><log label="c"/></transition></state></parallel>`,
		"e", "b a c"},
	{"which are taken is decided before any is", "3.13; D selectTransitions",
		`<datamodel><data id="n" expr="0"/></datamodel><parallel id="p"><state id="a"><transition event="e" cond="n == 0"><assign location="n" expr="1"/><log label="a"/></transition></state>` +
			`<state id="b"><transition event="e" cond="n == 0"><log label="b"/></transition></state><state id="c"><transition event="e" cond="n == 1"><log label="c"/></transition></state></parallel>`,
		"e", "a b"},
	{"what one has done the content of the next sees", "D executeTransitionContent",
		`<datamodel><data id="n" expr="0"/></datamodel><parallel id="p"><state id="a"><transition event="e"><assign location="n" expr="n + 1"/></transition></state>` +
			`<state id="b"><transition event="e"><if cond="n == 1"><log label="sees"/><else/><log label="misses"/></if></transition></state></parallel>`,
		"e", "sees"},
	{"of two that leave the same state the first in document order is taken", "3.13; D removeConflictingTransitions",
		`<parallel id="p"><state id="a"><transition event="e" target="x"><log label="a"/></transition></state><state id="b"><transition event="e" target="y"><log label="b"/></transition></state></parallel>` +
			`<state id="x"/><state id="y"/>`,
		"e", "a"},
	{"without an event before internal events before external ones", "3.13; D mainEventLoop",
		`<datamodel><data id="n" expr="0"/></datamodel><state id="s"><transition event="e"><raise event="i"/><raise event="j"/><assign location="n" expr="1"/><log label="e"/></transition>` +
			`<transition cond="n == 1"><assign location="n" expr="0"/><log label="none"/></transition><transition event="i"><raise event="k"/><log label="i"/></transition>` +
			`<transition event="j"><assign location="n" expr="1"/><log label="j"/></transition><transition event="k"><log label="k"/></transition><transition event="f"><log label="f"/></transition></state>`,
		"e f", "e none i j none k f"},
	{"what is sent without a target comes behind what waits", "6.2; D mainEventLoop",
		`<state id="s"><transition event="e"><send event="late"/><raise event="soon"/><log label="e"/></transition><transition event="f"><log label="f"/></transition>` +
			`<transition event="soon"><log label="soon"/></transition><transition event="late"><log label="late"/></transition></state>`,
		"e f", "e soon f late"},
	{"an event without a transition is gone", "3.13; D mainEventLoop",
		`<state id="s"><transition event="f" target="t"/></state><state id="t"><transition event="e"><log label="kept"/></transition></state>`,
		"e f", ""},
	{"an internal transition leaves and enters inner states only, the same one too", "3.13; D getTransitionDomain",
		`<parallel id="p"><state id="a"><onexit><log label="out-a"/></onexit><transition event="e" type="internal" target="a1"><log label="e"/></transition>` +
			`<state id="a1"><onentry><log label="in"/></onentry><onexit><log label="out"/></onexit></state></state><state id="b"><onexit><log label="out-b"/></onexit></state></parallel>`,
		"e", "in out e in"},
	{"an error ends its block and is an internal event", "3.12; 5.9.3",
		`<state id="s"><transition event="e"><log label="before"/><assign location="no.such" expr="1"/><log label="after"/></transition>` +
			`<transition event="error.execution"><log label="told"/></transition></state>`,
		"e", "before error told"},
	{"foreach goes through its list in order", "4.6",
		`<datamodel><data id="x" expr="0"/><data id="both" expr="[1, 2]"/></datamodel><state id="s"><transition event="e"><foreach array="both" item="x"><if cond="x == 1"><log label="one"/><else/><log label="two"/></if></foreach></transition></state>`,
		"e", "one two"},
}

// departures are where this interpreter does otherwise than the Recommendation,
// so Translate must not rely on it: what it should say stands in words, what it
// says in the section after the semicolon.
var departures = []struct {
	chart
	says string
}{
	{chart{"states are entered in document order, inner ones of the first region before the second region", "3.13; D enterStates",
		`<parallel id="p"><state id="a"><onentry><log label="a"/></onentry><state id="a1"><onentry><log label="a1"/></onentry></state></state>` +
			`<state id="b"><onentry><log label="b"/></onentry><state id="b1"><onentry><log label="b1"/></onentry></state></state></parallel>`,
		"", "a a1 b b1"}, "a b a1 b1"},
	{chart{"an external transition of a region leaves the parallel state too", "3.13; D getTransitionDomain, findLCCA",
		`<state id="r"><parallel id="p"><onexit><log label="p"/></onexit><state id="a"><transition event="e" target="a1"/><state id="a1"><onexit><log label="a1"/></onexit></state></state>` +
			`<state id="b"><onexit><log label="b"/></onexit></state></parallel></state>`,
		"e", "b a1 p"}, "a1 b"},
}

func document(body string) string {
	return `<scxml xmlns="http://www.w3.org/2005/07/scxml" version="1.0" datamodel="ecmascript">` + body + `</scxml>`
}

// words are the labels that a chart has logged.
func (a answer) words() string {
	var all []string
	for _, s := range a.Steps {
		for _, said := range s.Said {
			all = append(all, strings.Trim(string(said[0]), `"`))
		}
	}
	return strings.Join(all, " ")
}

// TestInterpreter holds the interpreter against the Recommendation, in all that
// Translate relies on, and tells when one of its departures is gone.
func TestInterpreter(t *testing.T) {
	var jobs []job
	all := slices.Clone(charts)
	for _, d := range departures {
		all = append(all, d.chart)
	}
	for _, c := range all {
		jobs = append(jobs, job{document(c.body), []input{{0, strings.Fields(c.events)}}})
	}
	jobs = append(jobs, job{Document: document(`<state id="s"><transition event="e" target="nowhere"/></state>`)})
	answers := interpret(t, jobs)
	if answers[len(all)].Error == "" {
		t.Error("what is no SCXML is no error")
	}
	for i, c := range all {
		want := c.words
		if n := i - len(charts); n >= 0 {
			want = departures[n].says
		}
		if got := answers[i].words(); answers[i].Error != "" || got != want {
			t.Errorf("%s (%s): logged %q, want %q %s", c.name, c.section, got, want, answers[i].Error)
		}
	}
}
