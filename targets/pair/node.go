package pair

import (
	"crypto/hkdf"
	"crypto/sha256"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

// ShortestSecret is how many characters a secret has at least. Who listens on
// the wire can try secrets against what it has heard, so it must be one that
// nobody guesses.
const ShortestSecret = 16

// CheckSecret says what is wrong with a secret.
func CheckSecret(secret string) error {
	if len(secret) < ShortestSecret {
		return fmt.Errorf("the secret of the pair needs %d characters or more", ShortestSecret)
	}
	return nil
}

// key is what the secret is used as: an Ed25519 key, made of it by HKDF (RFC
// 5869) with SHA-256.
type key struct {
	pair   nkeys.KeyPair
	public string
}

func newKey(secret string) (key, error) {
	seed, err := hkdf.Key(sha256.New, []byte(secret), nil, "cuewright pair", 32)
	if err != nil {
		return key{}, err
	}
	pair, err := nkeys.FromRawSeed(nkeys.PrefixByteUser, seed)
	if err != nil {
		return key{}, err
	}
	public, err := pair.PublicKey()
	return key{pair, public}, err
}

// The bounds of a server. Nobody who has not signed in is given more than
// authTime and a few kilobytes.
const (
	mostConnections = 32
	mostPayload     = 8 << 20  // a piece, with room to spare over journal.MaxRecord
	mostPending     = 32 << 20 // for a client that reads slowly
	mostStream      = 32 << 20
	mostMemory      = 96 << 20 // the stream and the programs
	authTime        = 2 * time.Second
	pingTime        = 500 * time.Millisecond
	readyTime       = 5 * time.Second
	dialTime        = time.Second
	againTime       = 100 * time.Millisecond // between attempts to reach somebody
)

// serve starts a server at an address. With a folder it keeps streams.
func (k key) serve(address, dir string, secure Secure) (*server.Server, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("the pair's own address: %w", err)
	}
	number, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return nil, fmt.Errorf("the pair's own address: `%s` is no port", port)
	}
	o := &server.Options{Host: host, Port: int(number), ServerName: "cuewright", NoSigs: true, NoLog: true,
		Nkeys:   []*server.NkeyUser{{Nkey: k.public}},
		MaxConn: mostConnections, MaxPayload: mostPayload, MaxPending: mostPending, AuthTimeout: authTime.Seconds(),
		PingInterval: pingTime, MaxPingsOut: 2, WriteDeadline: dialTime}
	if number == 0 {
		o.Port = server.RANDOM_PORT
	}
	if dir != "" {
		o.JetStream, o.StoreDir = true, filepath.Join(dir, "pair")
		o.JetStreamMaxMemory, o.JetStreamMaxStore = mostMemory, 1<<20
	}
	if secure.server != nil {
		o.TLSConfig, o.TLS, o.TLSVerify = secure.server, true, true
	}
	if number != 0 { // the server does not say why it cannot listen
		l, err := net.Listen("tcp", address)
		if err != nil {
			return nil, err
		}
		_ = l.Close()
	}
	s, err := server.NewServer(o)
	if err != nil {
		return nil, fmt.Errorf("the pair's server cannot be made: %w", err)
	}
	go s.Start()
	if !s.ReadyForConnections(readyTime) {
		s.Shutdown()
		return nil, errors.New("the pair's server does not start")
	}
	return s, nil
}

// options are those of a client. One that cannot connect tries again for ever,
// and what it says meanwhile is not kept: it would be old.
func (k key) options(secure Secure) []nats.Option {
	all := []nats.Option{nats.Nkey(k.public, k.pair.Sign), nats.RetryOnFailedConnect(true), nats.MaxReconnects(-1),
		nats.ReconnectWait(againTime), nats.ReconnectJitter(0, 0), nats.ReconnectBufSize(-1), nats.Timeout(dialTime),
		nats.PingInterval(pingTime), nats.MaxPingsOutstanding(2), nats.DontRandomize(), nats.IgnoreAuthErrorAbort(),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})}
	if secure.client != nil {
		all = append(all, nats.Secure(secure.client))
	}
	return all
}

func urlOf(address string) string { return "nats://" + address }
