package pair

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"cuewright/targets/control"
	"cuewright/targets/surface"
)

// BenchmarkPress is the time from a press to its message at a stand-in on this
// machine: of a controller by itself, of a leader whose partner is not there,
// and of one whose partner has to know first. Quote the ratios.
func BenchmarkPress(b *testing.B) {
	for _, c := range []struct {
		name  string
		start func(*duo) *control.Controller
	}{
		{"single", func(d *duo) *control.Controller {
			desk, err := control.Start(d.program, control.Options{Dir: d.dirs[0], Env: credentials})
			if err != nil {
				b.Fatal(err)
			}
			d.desks[0] = desk
			return desk
		}},
		{"alone", func(d *duo) *control.Controller {
			d.silence = true
			desk := d.start(0)
			await(b, "it leads", func() bool { return desk.View().Pair.Sends })
			return desk
		}},
		{"pair", func(d *duo) *control.Controller { leader, _ := d.both(); return d.desks[leader] }},
	} {
		b.Run(c.name, func(b *testing.B) {
			d := newDuo(b, false, false)
			desk := c.start(d)
			wide := d.button("Wide")
			var took, answered []time.Duration
			for i := 0; b.Loop(); i++ {
				began := time.Now()
				p := surface.Press{Kind: surface.Down, Surface: -1, Button: wide, Cue: -1, By: fmt.Sprint(i)}
				if a := desk.Press(p); a.Outcome != surface.Done {
					b.Fatalf("%+v", a)
				}
				answered = append(answered, time.Since(began))
				await(b, "it is sent", func() bool { return !d.out.after(began).IsZero() })
				took = append(took, d.out.after(began).Sub(began))
				p.Kind = surface.Up
				desk.Press(p)
				d.out.forget()
			}
			for name, all := range map[string][]time.Duration{"answer": answered, "message": took} {
				slices.Sort(all)
				b.ReportMetric(float64(all[len(all)/2].Microseconds()), name+"-p50-us")
				b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), name+"-p99-us")
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}
