package surface

import (
	"fmt"
	"time"
)

// Pair is how two controllers stand to each other, as one of them sees it.
type Pair struct {
	Seat   string    // A or B
	Leads  bool      // it is this one that sends
	Sends  bool      // and it may: its lease holds
	Waits  bool      // it was started and has heard of no leader yet
	Epoch  uint64    // rises with each takeover
	Other  string    // the partner's seat
	Heard  bool      // the partner is heard now
	Seen   time.Time // when it was last heard; zero if never
	InStep bool      // the one that follows knows everything that was done
	Stale  bool      // this one follows, does not know everything, and so takes over by a press only
	Alone  bool      // there is no witness
	Judge  bool      // the witness is heard
}

// Well says that one sends, the other is there and knows everything, and the
// witness, if there is one, is heard.
func (p *Pair) Well() bool {
	return p.Heard && p.InStep && (p.Sends || !p.Leads && !p.Waits) && (p.Alone || p.Judge)
}

// Role is what this one does, in a word or two: leads, cut off (it leads, but
// may not send), listens (whether the other one leads), follows, or nobody
// leads (that it can hear).
func (p *Pair) Role() string {
	switch {
	case p.Leads && !p.Sends:
		return "cut off"
	case p.Leads:
		return "leads"
	case p.Waits:
		return "listens"
	case p.Heard:
		return "follows"
	}
	return "nobody leads"
}

// Words say it in a line.
func (p *Pair) Words() string {
	text := fmt.Sprintf("%s leads, epoch %d", p.Seat, p.Epoch)
	switch {
	case p.Leads && !p.Sends:
		text = fmt.Sprintf("%s leads, but is cut off from %s and the witness: NOTHING IS SENT; to go on here alone, switch over, if %s does not lead", p.Seat, p.Other, p.Other)
	case p.Leads:
	case p.Waits:
		text = p.Seat + " listens whether " + p.Other + " leads"
	case p.Heard:
		text = fmt.Sprintf("%s follows %s, epoch %d: press there", p.Seat, p.Other, p.Epoch)
	case p.Stale:
		text = fmt.Sprintf("nobody leads: %s went on alone before it went away, and %s does not know everything; switch over to lead from what it knows", p.Other, p.Seat)
	default:
		text = fmt.Sprintf("nobody leads that %s can hear; to lead here, switch over, if %s does not lead", p.Seat, p.Other)
	}
	if !p.Heard {
		text += "; " + p.Other + " is not heard"
	} else if !p.InStep {
		text += "; not in step yet"
	}
	if !p.Alone && !p.Judge {
		text += "; the witness is not heard"
	}
	return text
}
