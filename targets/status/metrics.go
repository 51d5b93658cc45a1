package status

import (
	"runtime"
	"time"

	"cuewright/targets/control"
	"cuewright/targets/journal"
	"cuewright/targets/metrics"
	"cuewright/targets/surface"
)

// Metrics is how the controller is now, for a monitoring system. README.md has
// the names with their units; they are stable.
func (s *Source) Metrics() []byte {
	v, f := s.Controller.View(), s.Controller.Figures()
	var w metrics.Writer
	one := func(name, kind, help string, value float64) {
		w.Family("cuewright_"+name, kind, help)
		w.Sample(value)
	}
	w.Family("cuewright_build_info", metrics.Gauge, "Always 1; its labels say which program this is.", "version", "go", "arch")
	w.Count(1, s.Version, runtime.Version(), runtime.GOARCH)
	one("start_time_seconds", metrics.Gauge, "When the controller was started, since 1970.", unixSeconds(f.Began))
	one("held", metrics.Gauge, "1 when nothing is sent before somebody resumes.", flag(v.Held))
	one("show_differs", metrics.Gauge, "1 when another show than the one that runs lies on the disk.", flag(v.OnDisk != v.Running))
	one("drifted", metrics.Gauge, "Things that somebody else has changed.", float64(len(v.Drifted)))
	one("devices_away", metrics.Gauge, "Devices that do not answer.", float64(len(v.Away)))
	outputMetrics(&w, v.Outputs)
	momentMetrics(&w, v)
	if v.Pair != nil {
		pairMetrics(&w, v.Pair)
	}
	pressMetrics(&w, &f)
	loopMetrics(&w, &f)
	deviceMetrics(&w, f.Devices)
	if f.Journal != nil {
		journalMetrics(&w, f.Journal, f.Dir)
	}
	surfaceMetrics(&w, s.ways())
	return w.Text()
}

func flag(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func unixSeconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }

func pressMetrics(w *metrics.Writer, f *control.Figures) {
	w.Family("cuewright_presses_total", metrics.Counter, "Presses, by what became of them.", "outcome")
	for i, n := range f.Presses {
		w.Count(n, surface.Outcome(i).String())
	}
	w.Histogram("cuewright_press_to_send_seconds", "From a press to its message being handed to the system or, over HTTP, answered.", "wire")
	for _, r := range f.Reach {
		w.Spread(r.Spread, r.Wire)
	}
	w.Family("cuewright_reloads_total", metrics.Counter, "Loads of a show while another ran, by what became of them.", "outcome")
	w.Count(f.Reloads.Taken, "taken")
	w.Count(f.Reloads.Waited, "waited")
	w.Count(f.Reloads.Refused, "refused")
}

func loopMetrics(w *metrics.Writer, f *control.Figures) {
	w.Histogram("cuewright_turn_seconds", "How long the turns of the controller's loop took.")
	w.Spread(f.Turn)
	w.Family("cuewright_turn_age_seconds", metrics.Gauge, "Since the last full turn; more than a second means that the loop hangs.")
	w.Seconds(max(time.Since(f.Turned), 0))
	w.Family("cuewright_waiting", metrics.Gauge, "Presses and reports that wait for the loop.")
	w.Count(uint64(f.Waiting))
	w.Histogram("cuewright_timer_late_seconds", "How late waits, transitions and follows ended.")
	w.Spread(f.Late)
}

func deviceMetrics(w *metrics.Writer, all []control.DeviceFigures) {
	w.Family("cuewright_messages_total", metrics.Counter, "Messages to devices, by what became of them.", "device", "outcome")
	for i := range all {
		for _, fate := range control.Fates() {
			w.Count(all[i].Messages[fate], all[i].Name, fate.String())
		}
	}
	w.Family("cuewright_device_away", metrics.Gauge, "1 when the device does not answer.", "device", "wire")
	for i := range all {
		w.Sample(flag(all[i].Away), all[i].Name, all[i].Wire)
	}
	w.Family("cuewright_device_seen_seconds", metrics.Gauge, "When the device was last heard of, since 1970; absent if never.", "device")
	for i := range all {
		if at := all[i].Seen; !at.IsZero() {
			w.Sample(unixSeconds(at), all[i].Name)
		}
	}
	w.Family("cuewright_device_waiting", metrics.Gauge, "Jobs of messages that wait for the device.", "device")
	for i := range all {
		w.Count(uint64(all[i].Waiting), all[i].Name)
	}
}

func journalMetrics(w *metrics.Writer, f *journal.Figures, dir string) {
	for _, c := range []struct {
		name, kind, help string
		value            float64
	}{
		{"records_total", metrics.Counter, "Records given to the journal in this run.", float64(f.Records)},
		{"bytes_total", metrics.Counter, "Their size.", float64(f.Bytes)},
		{"lost_total", metrics.Counter, "Records that could not be kept.", float64(f.Lost)},
		{"faults_total", metrics.Counter, "Times that the disk did not take what it was given.", float64(f.Faults)},
		{"behind", metrics.Gauge, "Records that are not on the disk yet.", float64(f.Behind)},
		{"lag_seconds", metrics.Gauge, "How long the oldest of those has waited.", f.Lag.Seconds()},
	} {
		w.Family("cuewright_journal_"+c.name, c.kind, c.help)
		w.Sample(c.value)
	}
	w.Histogram("cuewright_journal_sync_seconds", "How long the disk takes to have records for good (fsync).")
	w.Spread(f.Sync)
	if free, err := journal.Free(dir); err == nil {
		w.Family("cuewright_journal_free_bytes", metrics.Gauge, "What is left on the disk of the journal.")
		w.Count(free)
	}
}

func surfaceMetrics(w *metrics.Writer, ways []surface.Way) {
	w.Family("cuewright_surface_clients", metrics.Gauge, "Who is connected or has spoken lately.", "kind", "at")
	for _, x := range ways {
		here := uint64(0)
		for _, c := range x.Clients {
			if c.Connected {
				here++
			}
		}
		w.Count(here, x.Kind, x.At)
	}
	w.Family("cuewright_surface_seen_seconds", metrics.Gauge, "When any of them was last heard of, since 1970; absent if never.", "kind", "at")
	for _, x := range ways {
		if len(x.Clients) > 0 {
			w.Sample(unixSeconds(x.Clients[0].Seen), x.Kind, x.At)
		}
	}
	w.Family("cuewright_surface_refused_total", metrics.Counter, "Requests and packets of who is not let in.", "kind", "at")
	for _, x := range ways {
		w.Count(x.Refused, x.Kind, x.At)
	}
	w.Family("cuewright_surface_dropped_total", metrics.Counter, "Datagrams that the system had no room for; absent where it does not tell.", "kind", "at")
	for _, x := range ways {
		if x.Dropped != nil {
			w.Count(*x.Dropped, x.Kind, x.At)
		}
	}
}
