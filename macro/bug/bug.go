// Package bug is for what cannot happen. In tests it panics, so that the
// impossible is found; in the field it reports once and lets the show go on.
package bug

import (
	"fmt"
	"os"
	"sync"
	"testing"
)

var seen sync.Map

// Report says that the impossible happened. It panics under `go test`, and
// writes one line for each distinct text to stderr otherwise.
func Report(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if testing.Testing() {
		panic("bug: " + text)
	}
	if _, dup := seen.LoadOrStore(text, true); !dup {
		fmt.Fprintf(os.Stderr, "cuewright: a mistake in Cuewright itself, please report it: %s\n", text)
	}
}
