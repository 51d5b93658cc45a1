package pair

import (
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"cuewright/targets/lease"
)

// WitnessConfig says how to be the witness of a pair.
type WitnessConfig struct {
	Listen string // HOST:PORT
	Secret string
	Dir    string // where its vote is kept
	Secure Secure
	Log    *slog.Logger // nil is silence
}

// Judge is a witness: it gives its vote to one controller at a time.
type Judge struct {
	server *server.Server
	own    *nats.Conn
	keeper keeper
	log    *slog.Logger
	began  time.Time
	mu     sync.Mutex
	judge  *lease.Judge
}

// Serve begins to be a witness.
func Serve(c WitnessConfig) (*Judge, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if err := CheckSecret(c.Secret); err != nil {
		return nil, err
	}
	k, err := newKey(c.Secret)
	if err != nil {
		return nil, err
	}
	j := &Judge{keeper: keeper{filepath.Join(c.Dir, "witness.kept")}, log: c.Log, began: time.Now()}
	var kept lease.JudgeKept
	if err := j.keeper.read(&kept); err != nil {
		c.Log.Warn("what the witness kept cannot be read, it begins anew: " + err.Error())
	}
	j.judge = lease.NewJudge(kept, 0)
	if j.server, err = k.serve(c.Listen, "", c.Secure); err != nil {
		return nil, err
	}
	if j.own, err = nats.Connect("", append(k.options(Secure{}), nats.InProcessServer(j.server))...); err == nil {
		_, err = j.own.Subscribe(witnessSubject, j.hear)
	}
	if err != nil {
		j.Close()
		return nil, fmt.Errorf("the witness's own server cannot be reached: %w", err)
	}
	return j, nil
}

// hear answers a word, once what it says is on the disk.
func (j *Judge) hear(m *nats.Msg) {
	w, err := decodeWord(m.Data)
	if err != nil || m.Reply == "" {
		return
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	before := j.judge.Kept()
	answer, ok := j.judge.Hear(w, time.Since(j.began))
	if !ok {
		return
	}
	if now := j.judge.Kept(); now != before {
		if now.Epoch != before.Epoch {
			j.log.Info(fmt.Sprintf("%s leads, epoch %d", now.Holder, now.Epoch))
		}
		if err := j.keeper.write(now); err != nil {
			j.log.Error("the vote cannot be kept, so it is not given: " + err.Error())
			return
		}
	}
	_ = m.Respond(encodeWord(answer)) // who asked has gone, or asks again
}

// Address is where it listens.
func (j *Judge) Address() string { return j.server.Addr().String() }

// Close ends it.
func (j *Judge) Close() {
	if j.own != nil {
		j.own.Close()
	}
	j.server.Shutdown()
	j.server.WaitForShutdown()
}
