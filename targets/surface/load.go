package surface

import (
	"fmt"
	"strings"
	"time"
)

// Load asks for the show to be loaded from its file again.
type Load struct {
	By     string
	Force  bool          // scripts that run and are changed are ended, not waited for
	Trial  time.Duration // it is on trial so long, see CheckTrial; 0: it is there to stay
	Expect string        // the digest that it must have, or the first digits of it, see CheckDigest; "" takes any
}

// Loaded is what became of it. Waits are the scripts that run now and are not
// the same in the new show: it takes over when they have ended.
type Loaded struct {
	Digest string
	Taken  bool
	Waits  []string
}

// Words say it in a line.
func (l Loaded) Words() string {
	if l.Taken {
		return fmt.Sprintf("program %s runs", Short(l.Digest))
	}
	return fmt.Sprintf("program %s waits for %s to end", Short(l.Digest), strings.Join(l.Waits, ", "))
}

// WithErrors stands for the digest of a file that is no show that could run.
const WithErrors = "with errors"

// shortDigest is how many digits of a digest people are shown. 48 bits do not
// meet by accident.
const shortDigest = 12

// Short is a digest as people are shown it.
func Short(digest string) string { return digest[:min(len(digest), shortDigest)] }

// CheckDigest says why a text is no digest that a show can be expected to have.
func CheckDigest(text string) error {
	if len(text) < shortDigest || len(text) > 64 || strings.Trim(text, "0123456789abcdef") != "" {
		return fmt.Errorf("`%.70s` is no digest: write its first %d digits or more, as `cuewright check` tells them", text, shortDigest)
	}
	return nil
}

// How long a show is on trial.
const (
	UsualTrial    = time.Minute
	ShortestTrial = time.Second
	LongestTrial  = 30 * time.Minute
)

// CheckTrial says why a show cannot be on trial for a time.
func CheckTrial(d time.Duration) error {
	if d < ShortestTrial || d > LongestTrial {
		return fmt.Errorf("a show can be on trial from %v to %v, not %v", ShortestTrial, LongestTrial, d)
	}
	return nil
}

// Trial is a show on trial. Unless somebody keeps it, every script ends at
// Until, the show before comes back, and Returns is sent.
type Trial struct {
	By      string
	Until   time.Time
	Before  string   // digest of the show that comes back
	Returns []string // what would be sent if it ended now, in words: "cut main to wide"
	Stays   []string // changed, and cannot be brought back: with the reason
}

// Left is how long the trial lasts, in whole seconds, rounded up; 0 where
// there is none.
func (t *Trial) Left(now time.Time) int {
	if t == nil {
		return 0
	}
	return int((max(t.Until.Sub(now), 0) + time.Second - 1) / time.Second)
}
