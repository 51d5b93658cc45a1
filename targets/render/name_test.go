package render

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/source"
)

// A formula that is no more than a name gives what expr-lang makes of the same
// name inside a calculation that changes nothing.
func TestNamesAreWorkedOutAsCalculations(t *testing.T) {
	known := names{"frames": whole, "bank.level": number, "source.name": text, "held": truth}
	at := func(int, int) source.Span { return source.Span{} }
	rapid.Check(t, func(t *rapid.T) {
		given := map[string]value{"frames": rapid.Int64().Draw(t, "frames"), "source.name": rapid.String().Draw(t, "name"), "held": rapid.Bool().Draw(t, "held"),
			"bank.level": rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1)})).Draw(t, "level")}
		name := rapid.SampledFrom([]string{"frames", "bank.level", "source.name", "held"}).Draw(t, "which")
		plain, found := newFormula(name, at, known)
		long, more := newFormula("held ? "+name+" : "+name, at, known)
		if len(found)+len(more) > 0 {
			t.Fatalf("%v %v", found, more)
		}
		if plain.program != nil || long.program == nil || plain.kind != long.kind {
			t.Fatalf("%+v and %+v", plain, long)
		}
		got, err := plain.eval(given)
		want, wrong := long.eval(given)
		if got != want || (err == nil) != (wrong == nil) {
			t.Fatalf("%s is %v (%v), and as a calculation %v (%v)", name, got, err, want, wrong)
		}
	})
}
