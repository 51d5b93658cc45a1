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
	"cuewright/targets/surface"
)

// swap is a program that is to take over.
type swap struct {
	next   *show
	fresh  []*line
	by     string
	force  bool
	trial  time.Duration       // 0: it is there to stay
	answer chan surface.Loaded // of one place; nil once it was said that it waits
}

// Load reads the show again and lets it take over between two events, as soon
// as no script runs that it changes. With Force it does so at once, and every
// script that runs is ended, unless none is changed. On Trial it does so at
// once or not at all. A show with errors is refused, and one with another digest than
// was expected, and the running one stays. Pages, standby, buses and running
// scripts that are the same in both are carried over by their names. Nothing is
// sent by it.
func (c *Controller) Load(how surface.Load) (r surface.Loaded, err error) {
	if !c.loading.TryLock() {
		return surface.Loaded{}, errors.New("another show is being loaded")
	}
	defer c.loading.Unlock()
	defer func() {
		c.counts.reloaded(r, err)
		if err != nil {
			text, _, _ := strings.Cut(err.Error(), "\n")
			c.post(func() { c.alert("controller", "asked for by "+how.By+", refused: "+text) })
		}
	}()
	next, err := c.read(how)
	if err != nil {
		return surface.Loaded{}, err
	}
	answer := make(chan surface.Loaded, 1)
	w := &swap{next: next, by: how.By, force: how.Force, trial: how.Trial, answer: answer}
	failed := make(chan error, 1)
	c.post(func() { failed <- c.prepare(w) })
	select {
	case err := <-failed:
		if err != nil {
			return surface.Loaded{}, err
		}
		return <-answer, nil
	case <-c.ended:
		return surface.Loaded{}, errors.New("the show has been stopped")
	}
}

// read reads the show from its file, and keeps it beside the journal.
func (c *Controller) read(how surface.Load) (*show, error) {
	if c.opts.Load == nil {
		return nil, errors.New("there is no file to load the show from again")
	}
	if how.Trial != 0 {
		if err := surface.CheckTrial(how.Trial); err != nil {
			return nil, err
		}
	}
	if how.Expect != "" {
		if err := surface.CheckDigest(how.Expect); err != nil {
			return nil, err
		}
	}
	found := c.opts.Load()
	if found.Program == nil {
		errs := surface.WithErrors
		c.onDisk.Store(&errs)
		var b strings.Builder
		for _, d := range found.Findings {
			at := d.At.Begin()
			fmt.Fprintf(&b, "\n%s:%d: %s [%s]", d.At.File.Name, at.Line, d.What, d.Code)
		}
		return nil, fmt.Errorf("the new show has errors; the old one runs on:%s", b.String())
	}
	next := newShow(found.Program, Digest(found.Program))
	c.onDisk.Store(&next.digest)
	if next.moments.err != nil {
		return nil, next.moments.err
	}
	if !strings.HasPrefix(next.digest, how.Expect) {
		return nil, fmt.Errorf("the file is another show than was expected: its digest is %s, not %s", surface.Short(next.digest), surface.Short(how.Expect))
	}
	if c.opts.Dir != "" {
		if err := writeProgram(c.opts.Dir, next.p, next.digest); err != nil {
			return nil, fmt.Errorf("the new show cannot be kept: %w", err)
		}
	}
	return next, nil
}

// prepare makes a swap the one that waits, and does it when it can be.
func (c *Controller) prepare(w *swap) error {
	if c.stopping {
		return errors.New("the show is being stopped")
	}
	if why := c.idle(); why != "" {
		return errors.New(why)
	}
	if c.trial != nil {
		return errOnTrial
	}
	if w.trial != 0 {
		if err := c.mayTry(w); err != nil {
			return err
		}
	}
	if w.next.digest == c.show.digest {
		c.giveUp()
		w.answer <- surface.Loaded{Digest: w.next.digest, Taken: true}
		return nil
	}
	fresh, err := c.connect(w.next, c.show.lines)
	if err != nil {
		return fmt.Errorf("the new show cannot start: %w", err)
	}
	c.giveUp()
	w.fresh = fresh
	if w.trial != 0 {
		c.try(w)
		w.answer <- surface.Loaded{Digest: w.next.digest, Taken: true}
		return nil
	}
	c.waiting = w
	c.swapIfFree()
	if c.waiting == w {
		waits := changed(c.show, w.next)
		c.alert("controller", "a new show waits for "+strings.Join(waits, ", ")+" to end")
		w.answer <- surface.Loaded{Digest: w.next.digest, Waits: waits}
		w.answer = nil
	}
	return nil
}

// giveUp drops the program that waits, if one does: another takes its place.
func (c *Controller) giveUp() {
	if c.waiting != nil {
		c.drop(c.waiting)
		c.waiting = nil
	}
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
	c.exchange(w)
	c.notKept = mark{}
	c.retireAll(was, c.show)
	c.note(journal.Record{Kind: journal.Mark, By: "controller", Text: "reloaded"})
	c.snapshot()
	c.alert("controller", "the new show has taken over")
	if w.answer != nil {
		w.answer <- surface.Loaded{Digest: w.next.digest, Taken: true}
	}
}

// exchange lets a program take the place of the one that runs. The lines that
// only that one has stay open.
func (c *Controller) exchange(w *swap) {
	was := c.show
	carry(was, w.next)
	w.next.liftStrangers(was)
	for i, l := range w.next.lines {
		if l != nil && slices.Contains(was.lines, l) {
			l.watch(w.next.p, int32(i))
		}
	}
	c.before, c.show = was, w.next
	c.lookAtClock(c.clock.now())
	for _, l := range w.fresh {
		l.start()
	}
}

// retireAll ends the lines of a show that another does not have.
func (c *Controller) retireAll(was, now *show) {
	for _, l := range was.lines {
		if l != nil && !slices.Contains(now.lines, l) {
			c.retire(l)
		}
	}
}

// retireTime is how long a device that a new show does not have may take for
// what the old one sent.
const retireTime = 5 * time.Second

func (c *Controller) retire(l *line) {
	c.tellPair(false) // what is for it still goes to it
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
			digest := surface.WithErrors
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
