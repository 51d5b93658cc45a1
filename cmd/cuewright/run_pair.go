package main

import (
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"cuewright/targets/control"
	"cuewright/targets/lease"
	"cuewright/targets/pair"
	"cuewright/targets/surface/web"
)

// pairVariable is where the secret of a pair is when no file is given.
const pairVariable = "CUEWRIGHT_PAIR_SECRET"

// pairFlags make a controller one of two.
type pairFlags struct {
	seat, listen, with, witness string
	onSilence                   bool
	secret                      secretFlags
}

// secretFlags are those of everybody who has to do with a pair.
type secretFlags struct {
	file, cert, key, authority string
}

func (s *secretFlags) add(f *pflag.FlagSet) {
	f.StringVar(&s.file, "pair-secret-file", "", "the secret of the pair is in `FILE`, which only its owner may read (or in "+pairVariable+")")
	f.StringVar(&s.cert, "pair-cert", "", "speak TLS in the pair, with the certificate in `FILE`")
	f.StringVar(&s.key, "pair-key", "", "its key in `FILE`")
	f.StringVar(&s.authority, "pair-ca", "", "and trust who has a certificate of the authority in `FILE`")
}

// read gives the secret and the TLS, or says what is wrong.
func (s *secretFlags) read() (secret string, secure pair.Secure, err error) {
	secret = os.Getenv(pairVariable)
	if s.file != "" {
		if secret, err = web.ReadToken(s.file); err != nil {
			return "", secure, &mistake{word: s.file, what: err.Error()}
		}
	}
	if err := pair.CheckSecret(secret); err != nil {
		return "", secure, &mistake{word: "--pair-secret-file", what: err.Error(), mend: "`openssl rand -hex 16 > FILE`, chmod 600 it, and give all of them the same"}
	}
	if secure, err = pair.ReadSecure(s.cert, s.key, s.authority); err != nil {
		return "", secure, &mistake{word: "--pair-cert", what: err.Error(), mend: "give --pair-cert, --pair-key and --pair-ca, or none"}
	}
	return secret, secure, nil
}

func (p *pairFlags) add(f *pflag.FlagSet) {
	f.StringVar(&p.seat, "pair", "", "be `A|B` of two controllers: one leads, the other follows and takes over")
	f.StringVar(&p.listen, "pair-listen", "", "let the other controller reach this one at `ADDR`, as 192.0.2.1:4270")
	f.StringVar(&p.with, "pair-with", "", "reach the other controller at `ADDR`")
	f.StringVar(&p.witness, "pair-witness", "", "ask the witness at `ADDR` who leads")
	f.BoolVar(&p.onSilence, "pair-on-silence", false, "without a witness, take over when the other one is silent: BOTH send while the cable between them is cut")
	p.secret.add(f)
}

// check says what is wrong with the flags.
func (p *pairFlags) check(state string) error {
	if p.seat == "" {
		given := []string{p.listen, p.with, p.witness, p.secret.file, p.secret.cert, p.secret.key, p.secret.authority}
		if p.onSilence || strings.Join(given, "") != "" {
			return &mistake{word: "--pair", what: "the flags of a pair are for `--pair`, which is not given", mend: "add --pair A here, and --pair B to the other one"}
		}
		return nil
	}
	switch {
	case !slices.Contains([]string{"A", "B"}, p.seat):
		return &mistake{word: p.seat, what: fmt.Sprintf("`%s` is no place in a pair", p.seat), mend: "write --pair A here, and --pair B at the other one"}
	case state == "":
		return &mistake{word: "--pair", what: "a pair keeps what it does in a folder, and none is given", mend: "add --state DIR"}
	case p.listen == "" || p.with == "":
		return &mistake{word: "--pair", what: "a pair needs to know where the two reach each other", mend: "add --pair-listen ADDR and --pair-with ADDR"}
	case p.onSilence && p.witness != "":
		return &mistake{word: "--pair-on-silence", what: "silence is no vote where there is a witness", mend: "leave one of the two flags out"}
	}
	_, _, err := p.secret.read()
	return err
}

// open opens this end of the pair. It gives nil when there is none.
func (p *pairFlags) open(state string, log *slog.Logger) (control.Pair, error) {
	if p.seat == "" {
		return nil, nil
	}
	secret, secure, err := p.secret.read()
	if err != nil {
		return nil, err
	}
	seat := lease.A
	if p.seat == "B" {
		seat = lease.B
	}
	end, err := pair.Open(pair.Config{Seat: seat, Listen: p.listen, Partner: p.with, Witness: p.witness, OnSilence: p.onSilence,
		Secret: secret, Secure: secure, Dir: state, Log: log})
	if err != nil {
		return nil, err
	}
	return end, nil
}

// warning is what has to be said of a pair at its start.
func (p *pairFlags) warning() string {
	switch {
	case p.seat == "" || p.witness != "":
		return ""
	case p.onSilence:
		return "a pair without a witness that takes over on silence: while the cable between the two is cut BOTH send, and messages are doubled"
	}
	return "a pair without a witness: when the other one goes silent, nothing takes over before somebody presses `switch`"
}
