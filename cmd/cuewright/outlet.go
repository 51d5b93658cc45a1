package main

import (
	"fmt"
	"io"
	"sync"
)

// outlet is where a command writes. It remembers when that went wrong, so that
// no command has to look after each line, and what cannot be written is never
// taken for done. It may be used from several goroutines.
type outlet struct {
	w   io.Writer
	mu  sync.Mutex
	err error // the first
}

// Write writes as long as nothing has gone wrong.
func (o *outlet) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.err != nil {
		return 0, o.err
	}
	n, err := o.w.Write(p)
	o.err = err
	return n, err
}

// lost says that something could not be written, and tells so on w.
func (o *outlet) lost(w io.Writer) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.err != nil {
		fmt.Fprintf(w, "cuewright: the output cannot be written: %s\n", reason(o.err))
	}
	return o.err != nil
}
