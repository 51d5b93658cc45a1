package control

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/sim/step"
	"cuewright/targets/journal"
)

// swap is a program that is to take over.
type swap struct {
	next   *show
	fresh  []*line
	force  bool
	answer chan Reloaded // of one place; nil once it was said that it waits
}

// Reloaded is what became of a reload. Waits are the scripts that run now and
// are not the same in the new show: it takes over when they have ended.
type Reloaded struct {
	Digest string
	Taken  bool
	Waits  []string
}

// Reload reads the show again and lets it take over between two events, as
// soon as no script runs that it changes. With force it does so at once, and
// every script that runs is ended, unless none is changed. A show with errors is refused, and the running one stays. Pages, standby, buses and
// running scripts that are the same in both are carried over by their names.
// Nothing is sent by it.
func (c *Controller) Reload(force bool) (r Reloaded, err error) {
	c.loading.Lock()
	defer c.loading.Unlock()
	defer func() { c.counts.reloaded(r, err) }()
	if c.opts.Load == nil {
		return Reloaded{}, errors.New("there is no file to load the show from again")
	}
	read := c.opts.Load()
	if read.Program == nil {
		var b strings.Builder
		for _, d := range read.Findings {
			at := d.At.Begin()
			fmt.Fprintf(&b, "\n%s:%d: %s [%s]", d.At.File.Name, at.Line, d.What, d.Code)
		}
		c.post(func() { c.alert("controller", "the new show was refused: it has errors; the old one runs on") })
		return Reloaded{}, fmt.Errorf("the new show has errors:%s", b.String())
	}
	next := newShow(read.Program, Digest(read.Program))
	c.onDisk.Store(&next.digest)
	if c.opts.Dir != "" {
		if err := writeProgram(c.opts.Dir, next.p, next.digest); err != nil {
			return Reloaded{}, fmt.Errorf("the new show cannot be kept: %w", err)
		}
	}
	answer := make(chan Reloaded, 1)
	w := &swap{next: next, force: force, answer: answer}
	failed := make(chan error, 1)
	c.post(func() { failed <- c.prepare(w) })
	select {
	case err := <-failed:
		if err != nil {
			return Reloaded{}, err
		}
		return <-answer, nil
	case <-c.ended:
		return Reloaded{}, errors.New("the show has been stopped")
	}
}

// prepare makes a swap the one that waits, and does it when it can be.
func (c *Controller) prepare(w *swap) error {
	if w.next.digest == c.show.digest {
		c.waiting = nil
		w.answer <- Reloaded{Digest: w.next.digest, Taken: true}
		return nil
	}
	fresh, err := c.connect(w.next, c.show.lines)
	if err != nil {
		return err
	}
	if c.waiting != nil {
		c.drop(c.waiting)
	}
	w.fresh, c.waiting = fresh, w
	c.swapIfFree()
	if c.waiting == w {
		waits := changed(c.show, w.next)
		c.alert("controller", "a new show waits for "+strings.Join(waits, ", ")+" to end")
		w.answer <- Reloaded{Digest: w.next.digest, Waits: waits}
		w.answer = nil
	}
	return nil
}

// drop gives up a swap that another has taken the place of.
func (c *Controller) drop(w *swap) {
	for _, l := range w.fresh {
		l.link.close()
	}
}

// swapIfFree lets a waiting program take over when nothing is in its way.
func (c *Controller) swapIfFree() {
	w := c.waiting
	if w == nil || c.stopping || !w.force && len(changed(c.show, w.next)) > 0 {
		return
	}
	c.waiting = nil
	was := c.show
	if len(changed(was, w.next)) > 0 {
		c.apply(step.Event{Kind: step.StopAll, At: was.state.Now})
	}
	carry(was, w.next)
	for i, l := range w.next.lines {
		if l != nil && slices.Contains(was.lines, l) {
			l.watch(w.next.p, int32(i))
		}
	}
	c.show = w.next
	for _, l := range w.fresh {
		l.start()
	}
	for _, l := range was.lines {
		if l != nil && !slices.Contains(w.next.lines, l) {
			c.retire(l)
		}
	}
	c.note(journal.Record{Kind: journal.Mark, By: "controller", Text: "reloaded"})
	c.snapshot()
	c.alert("controller", "the new show has taken over")
	if w.answer != nil {
		w.answer <- Reloaded{Digest: w.next.digest, Taken: true}
	}
}

// retireTime is how long a device that a new show does not have may take for
// what the old one sent.
const retireTime = 5 * time.Second

func (c *Controller) retire(l *line) {
	l.end()
	c.old.Go(func() {
		ctx, cancel := context.WithTimeout(context.Background(), retireTime)
		defer cancel()
		l.finish(ctx)
	})
}

// watchEvery is how often the show's file is looked at.
const watchEvery = 2 * time.Second

// watchFile keeps the digest of the show on the disk up to date, so that every
// surface can see that another one than it runs lies there.
func (c *Controller) watchFile() {
	if c.opts.Load == nil {
		return
	}
	c.watch.Go(func() {
		tick := time.NewTicker(watchEvery)
		defer tick.Stop()
		var files []string
		seen := ""
		for {
			select {
			case <-tick.C:
			case <-c.ended:
				return
			}
			if now := stamps(files); now == seen && files != nil {
				continue
			}
			r := c.opts.Load()
			files = files[:0]
			for _, f := range []*source.File{r.Show, r.Plan} {
				if f != nil {
					files = append(files, f.Name)
				}
			}
			seen = stamps(files)
			digest := "with errors"
			if r.Program != nil {
				digest = Digest(r.Program)
			}
			c.onDisk.Store(&digest)
		}
	})
}

// stamps says when files were changed last.
func stamps(files []string) string {
	var b strings.Builder
	for _, name := range files {
		if info, err := os.Stat(name); err == nil {
			fmt.Fprintln(&b, info.ModTime().UnixNano(), info.Size())
		}
	}
	return b.String()
}

// changed names the scripts that run and are not the same in the next show.
func changed(was, next *show) []string {
	var names []string
	for t := range was.p.Tasks {
		if !was.running(int32(t)) {
			continue
		}
		if to := taskNamed(next.p, &was.p.Tasks[t]); to < 0 || !sameTask(was, int32(t), next, to) {
			names = append(names, was.p.Tasks[t].Name)
		}
	}
	return names
}

// halt ends every script, in the state only.
func (s *show) halt() {
	s.effects = s.m.Apply(s.state, step.Event{Kind: step.StopAll, At: s.state.Now}, s.effects[:0])
}

func (s *show) running(task int32) bool {
	at := s.p.Tasks[task].At
	return at >= 0 && s.m.L.Get(s.state, at) != 0
}

func taskNamed(p *program.Program, like *program.Task) int32 {
	return int32(slices.IndexFunc(p.Tasks, func(t program.Task) bool { return t.Kind == like.Kind && t.Name == like.Name }))
}
