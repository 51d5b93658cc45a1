package main

import (
	"fmt"
	"strings"
	"time"

	"cuewright/macro/source"
	"cuewright/targets/status"
)

// statusText is a report for people: no line is longer than 80 cells.
func statusText(r *status.Report) string {
	b := &sheetOf80{}
	b.line("%s, runs since %s (%s)", r.Show, r.Since.Local().Format(time.DateTime), ago(r.At.Sub(r.Since)))
	disk := "the same on the disk"
	if r.OnDisk != r.Running {
		disk = fmt.Sprintf("another on the disk: %.12s", r.OnDisk)
	}
	b.line("program %.12s, %s", r.Running, disk)
	if r.Standby.Number == "" {
		b.line("standby: nothing")
	} else {
		b.line("standby: cue %s %q", r.Standby.Number, r.Standby.Label)
	}
	for _, text := range r.ByItself {
		for _, line := range wrap(text, sheetWidth, "  ") {
			b.line("%s", line)
		}
	}
	pairText(b, r)
	outputsText(b, r)
	devicesText(b, r)
	surfacesText(b, r)
	if j := r.Journal; j != nil {
		b.line("")
		b.line("journal: record %d, %d not on the disk yet, %d lost", j.Record, j.Behind, j.Lost)
		left := ""
		if j.Free != nil {
			left = ", " + size(*j.Free) + " left on its disk"
		}
		b.line("         %s since the start%s", size(j.Bytes), left)
	}
	b.line("")
	if len(r.Attention) == 0 {
		b.line("all is well")
	}
	for _, text := range r.Attention {
		for _, line := range wrap("LOOK: "+text, sheetWidth, "      ") {
			b.line("%s", line)
		}
	}
	return b.String()
}

func pairText(b *sheetOf80, r *status.Report) {
	p := r.Pair
	if p == nil {
		return
	}
	seen := "never"
	if p.Seen != nil {
		seen = ago(r.At.Sub(*p.Seen)) + " ago"
	}
	b.line("pair: %s, %s, epoch %d; %s last heard: %s", p.Seat, p.Role, p.Epoch, p.Other, seen)
}

// outputsText is what every output should show, was told and is known to show,
// cut to the line: what needs a look is said in full below.
func outputsText(b *sheetOf80, r *status.Report) {
	columns := []int{-1, -15, -14, -18, -13, -14}
	for i, o := range r.Outputs {
		if i == 0 {
			b.line("")
			b.row(columns, "", "output", "wanted", "last sent", "acknowledged", "observed")
		}
		mark, wanted := "", o.Wanted
		if o.NeedsLook {
			mark = "*"
		}
		if wanted == "" {
			wanted = "never set"
		}
		b.row(columns, mark, o.Name, wanted, o.Sent.Text, o.Acknowledged.Text, o.Observed.Text)
	}
}

func devicesText(b *sheetOf80, r *status.Report) {
	if len(r.Devices) == 0 {
		return
	}
	columns := []int{-21, -6, 9, 6, 8, 8, 7, 8}
	b.line("")
	b.row(columns, "device", "is", "seen", "waits", "sent", "refused", "failed", "dropped")
	for _, d := range r.Devices {
		is, seen := "well", "never"
		if d.Away {
			is = "AWAY"
		}
		if d.Seen != nil {
			seen = ago(r.At.Sub(*d.Seen))
		}
		m := d.Messages
		b.row(columns, d.Name, is, seen, fmt.Sprint(d.Waiting), fmt.Sprint(m["sent"]+m["answered"]), fmt.Sprint(m["refused"]), fmt.Sprint(m["failed"]), fmt.Sprint(m["dropped"]))
	}
}

func surfacesText(b *sheetOf80, r *status.Report) {
	for i, x := range r.Taken {
		if i == 0 {
			b.line("")
		}
		b.line("%s is %s's alone", x.Surface, x.By)
	}
	columns := []int{-33, -33, 11}
	for i, w := range r.Surfaces {
		if i == 0 {
			b.line("")
			b.row(columns, "surface", "who", "seen")
		}
		at := w.Kind + " " + w.At
		if w.Dropped != nil && *w.Dropped > 0 {
			at += fmt.Sprintf(", %d lost", *w.Dropped)
		}
		if source.Width(at) > -columns[0] {
			b.line("%s", at)
			at = ""
		}
		if len(w.Clients) == 0 {
			b.row(columns, at, "nobody", "")
		}
		for _, c := range w.Clients {
			seen := ago(r.At.Sub(c.Seen))
			if !c.Connected {
				seen = "gone " + seen
			}
			b.row(columns, at, c.Who, seen)
			at = ""
		}
	}
}

// sheetOf80 is lines of at most 80 cells.
type sheetOf80 struct{ strings.Builder }

const sheetWidth = 80

func (b *sheetOf80) line(format string, args ...any) {
	b.WriteString(strings.TrimRight(fit(fmt.Sprintf(format, args...), sheetWidth), " ") + "\n")
}

// row writes cells, a blank apart, each as wide as its column says; below zero
// is to the left.
func (b *sheetOf80) row(columns []int, cells ...string) {
	var line strings.Builder
	for i, c := range cells {
		if i > 0 {
			line.WriteByte(' ')
		}
		if width := columns[i]; width < 0 {
			line.WriteString(fit(c, -width))
		} else {
			c = strings.TrimRight(fit(c, width), " ")
			line.WriteString(strings.Repeat(" ", width-len(c)) + c) // numbers and times: a byte is a cell
		}
	}
	b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
}

// ago is a time that has passed, in at most seven cells.
func ago(d time.Duration) string {
	switch d = max(d, 0); {
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", d.Seconds())
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d d", int(d.Hours()/24))
}

// size is a number of bytes, in decimal units.
func size(n uint64) string {
	for _, u := range []struct {
		from float64
		name string
	}{{1e12, "TB"}, {1e9, "GB"}, {1e6, "MB"}, {1e3, "kB"}} {
		if float64(n) >= u.from {
			return fmt.Sprintf("%.1f %s", float64(n)/u.from, u.name)
		}
	}
	return fmt.Sprintf("%d B", n)
}
