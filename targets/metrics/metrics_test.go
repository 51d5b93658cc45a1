package metrics_test

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"pgregory.net/rapid"

	"cuewright/targets/metrics"
)

// parse reads a text with the parser of the format's own project.
func parse(t interface{ Fatalf(string, ...any) }, text []byte) map[string]*dto.MetricFamily {
	p := expfmt.NewTextParser(model.LegacyValidation)
	all, err := p.TextToMetricFamilies(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return all
}

// TestText: what is written, to the letter. The format's own page has the
// rules; the escapes are those of its section "Comments, help text, and type
// information" and the one before it.
func TestText(t *testing.T) {
	var w metrics.Writer
	w.Family("presses_total", metrics.Counter, "Presses, by what\nbecame of them.", "outcome")
	w.Count(3, "done")
	w.Count(0, `re"fu\sed`+"\n")
	w.Family("up_seconds", metrics.Gauge, `Back\slash.`)
	w.Seconds(1500 * time.Millisecond)
	h := metrics.NewHistogram(time.Millisecond, time.Second)
	h.Observe(time.Millisecond)
	h.Observe(time.Minute)
	w.Histogram("turn_seconds", "Turns.")
	w.Spread(h.Read())
	want := `# HELP presses_total Presses, by what\nbecame of them.
# TYPE presses_total counter
presses_total{outcome="done"} 3
presses_total{outcome="re\"fu\\sed\n"} 0
# HELP up_seconds Back\\slash.
# TYPE up_seconds gauge
up_seconds 1.5
# HELP turn_seconds Turns.
# TYPE turn_seconds histogram
turn_seconds_bucket{le="0.001"} 1
turn_seconds_bucket{le="1"} 1
turn_seconds_bucket{le="+Inf"} 2
turn_seconds_sum 60.001
turn_seconds_count 2
`
	if got := string(w.Text()); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if len(parse(t, w.Text())) != 3 {
		t.Error("the parser finds other families")
	}
}

// TestReadBack: the parser of the format's project reads every value and label
// back, whatever they are.
func TestReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value, label, help := rapid.Float64().Draw(t, "value"), rapid.String().Draw(t, "label"), rapid.String().Draw(t, "help")
		var w metrics.Writer
		w.Family("it", metrics.Gauge, help, "name")
		w.Sample(value, label)
		m := parse(t, w.Text())["it"].Metric[0]
		if got := m.Gauge.GetValue(); got != value && !math.IsNaN(value) {
			t.Errorf("%v came back as %v", value, got)
		}
		if got := m.Label[0].GetValue(); got != strings.ToValidUTF8(label, "\uFFFD") {
			t.Errorf("%q came back as %q", label, got)
		}
	})
}

// TestHistogram: a duration counts in each range that it is not longer than.
func TestHistogram(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bounds := []time.Duration{time.Microsecond, time.Millisecond, time.Second}
		h := metrics.NewHistogram(bounds...)
		all := rapid.SliceOf(rapid.Int64Range(-1000, 2_000_000_000)).Draw(t, "durations")
		want := make([]uint64, 4)
		var sum time.Duration
		for _, n := range all {
			d := time.Duration(n)
			h.Observe(d)
			sum += max(d, 0)
			for i := range want {
				if i == len(bounds) || d <= bounds[i] {
					want[i]++
				}
			}
		}
		var w metrics.Writer
		w.Histogram("it", "It.")
		w.Spread(h.Read())
		got := parse(t, w.Text())["it"].Metric[0].Histogram
		if got.GetSampleCount() != uint64(len(all)) || got.GetSampleSum() != sum.Seconds() {
			t.Errorf("%d durations of %v came back as %d of %v", len(all), sum, got.GetSampleCount(), got.GetSampleSum())
		}
		for i := range want {
			if n := got.Bucket[i].GetCumulativeCount(); n != want[i] {
				t.Errorf("%d in range %d, want %d", n, i, want[i])
			}
		}
	})
}

// TestLongest: the longest lies within the range that is told.
func TestLongest(t *testing.T) {
	h := metrics.NewHistogram(time.Millisecond, time.Second)
	for _, step := range []struct{ add, want time.Duration }{{0, time.Millisecond}, {2 * time.Millisecond, time.Second}, {time.Hour, time.Second}} {
		h.Observe(step.add)
		if got := h.Read().Longest(); got != step.want {
			t.Errorf("after %v the longest is %v, want %v", step.add, got, step.want)
		}
	}
	if got := metrics.NewHistogram(time.Second).Read().Longest(); got != 0 {
		t.Errorf("of nothing the longest is %v", got)
	}
}

func BenchmarkObserve(b *testing.B) {
	h := metrics.NewHistogram(time.Microsecond, time.Millisecond, 10*time.Millisecond, time.Second)
	for range b.N {
		h.Observe(5 * time.Millisecond)
	}
}
