// Package metrics counts, and writes what was counted as a monitoring system
// collects it: the text exposition format 0.0.4 of Prometheus
// (prometheus.io/docs/instrumenting/exposition_formats). It is written by hand
// since the client library costs 2.4 MB of program and 1.5 MiB of memory, and
// we need only this of it; the tests read what comes out with the parser of
// that project.
package metrics

import (
	"strconv"
	"strings"
	"time"
)

// ContentType is the type of what a Writer writes.
const ContentType = "text/plain; version=0.0.4; charset=utf-8"

// Writer writes families of metrics, one after the other: Family, then its
// samples. The zero value is ready. Names are ours and must be valid; values of
// labels may be any text.
type Writer struct {
	text   []byte
	family string
	labels []string // names
}

// The kinds of family.
const (
	Counter   = "counter"   // only rises while the process runs
	Gauge     = "gauge"     // goes up and down
	histogram = "histogram" // see Histogram
)

// Family begins a family: its name with the unit last, its kind, what it tells,
// and the names of its labels.
func (w *Writer) Family(name, kind, help string, labels ...string) {
	w.family, w.labels = name, labels
	w.text = append(w.text, "# HELP "+name+" "+strings.NewReplacer(`\`, `\\`, "\n", `\n`).Replace(help)+"\n# TYPE "+name+" "+kind+"\n"...)
}

// Sample writes a value of the family with the values of its labels.
func (w *Writer) Sample(value float64, labels ...string) { w.sample("", "", value, labels) }

// Count is Sample of a whole number.
func (w *Writer) Count(value uint64, labels ...string) { w.Sample(float64(value), labels...) }

// Seconds is Sample of a duration.
func (w *Writer) Seconds(d time.Duration, labels ...string) { w.Sample(d.Seconds(), labels...) }

// Histogram writes a family of one histogram, or of several with labels.
func (w *Writer) Histogram(name, help string, labels ...string) {
	w.Family(name, histogram, help, labels...)
}

// Spread writes a histogram of the family.
func (w *Writer) Spread(s Spread, labels ...string) {
	for i, bound := range s.Bounds {
		w.sample("_bucket", number(bound.Seconds()), float64(s.Upto[i]), labels)
	}
	w.sample("_bucket", "+Inf", float64(s.Count()), labels)
	w.sample("_sum", "", s.Sum.Seconds(), labels)
	w.sample("_count", "", float64(s.Count()), labels)
}

// Text is all that was written.
func (w *Writer) Text() []byte { return w.text }

func (w *Writer) sample(suffix, upto string, value float64, labels []string) {
	w.text = append(w.text, w.family+suffix...)
	open := byte('{')
	put := func(name, value string) {
		w.text = append(append(w.text, open), name+`="`+escape(value)+`"`...)
		open = ','
	}
	for i, name := range w.labels {
		put(name, labels[i])
	}
	if upto != "" {
		put("le", upto)
	}
	if open == ',' {
		w.text = append(w.text, '}')
	}
	w.text = append(w.text, " "+number(value)+"\n"...)
}

// escape writes the value of a label: the format escapes these three.
func escape(value string) string {
	return strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`).Replace(strings.ToValidUTF8(value, "\uFFFD"))
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
