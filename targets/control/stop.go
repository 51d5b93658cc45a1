package control

import (
	"context"
	"fmt"
	"sync"

	"cuewright/targets/journal"
)

// Stop ends the show in order: no press is taken any more, what waits for the
// devices is sent until ctx ends, and the journal is closed.
func (c *Controller) Stop(ctx context.Context) error {
	if c.pair != nil {
		c.pair.Leave(ctx)
		defer c.pair.Close()
	}
	select {
	case c.stop <- ctx:
	default: // somebody else does
	}
	<-c.ended
	c.watch.Wait()
	if c.journal == nil {
		return nil
	}
	if err := c.journal.Close(); err != nil {
		return fmt.Errorf("the end of the journal could not be kept: %w", err)
	}
	return nil
}

// drain lets the lines send what they have. The channel is closed when they
// have.
func (c *Controller) drain(ctx context.Context) <-chan struct{} {
	c.tellPair(false)
	over := make(chan struct{})
	var all sync.WaitGroup
	if c.trial != nil {
		c.retireAll(c.trial.old, c.show)
	}
	for _, l := range c.show.lines {
		if l != nil {
			l.end()
			all.Go(func() { l.finish(ctx) })
		}
	}
	go func() {
		all.Wait()
		c.old.Wait()
		close(over)
	}()
	return over
}

// end is the last that the loop does.
func (c *Controller) end() {
	c.turns() // the last reports of the lines
	if c.waiting != nil {
		c.drop(c.waiting)
	}
	if c.trial != nil {
		c.alert("controller", "the show on trial was neither kept nor taken back: every bus stays as it is")
	}
	c.note(journal.Record{Kind: journal.Stopped})
	c.bell.close()
}
