package pair

import (
	"context"
	"time"

	"github.com/nats-io/nats.go"

	"cuewright/targets/lease"
)

// mouth speaks to a server on the network. It has a goroutine of its own: while
// the client connects, whatever asks it for anything waits, and that can take
// as long as dialTime.
type mouth struct {
	conn           *nats.Conn
	subject, reply string
	words          chan spoken
}

type spoken struct {
	data []byte
	at   time.Time
}

// mostSpoken is how many words wait to be said. What comes on top is lost, as a
// word on a bad wire is.
const mostSpoken = 256

func newMouth(c *nats.Conn, subject, reply string) *mouth {
	return &mouth{c, subject, reply, make(chan spoken, mostSpoken)}
}

func (m *mouth) say(data []byte) {
	select {
	case m.words <- spoken{data, time.Now()}:
	default:
	}
}

// speak says words until ctx ends, but not those that have waited for so long
// that nobody counts on them.
func (m *mouth) speak(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case w := <-m.words:
			if time.Since(w.at) < lease.Promise && m.conn.IsConnected() {
				_ = m.conn.PublishMsg(&nats.Msg{Subject: m.subject, Reply: m.reply, Data: w.data}) // lost, as on a bad wire
			}
		}
	}
}
