package httpout

import (
	"encoding/base64"
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/targets/wire"
)

// credential is a device's login or token. It is a function, so that no way of
// printing a Client shows it. A nil credential is none.
type credential func() secret

type secret struct {
	header string   // the Authorization header's value
	hidden []string // what may stand in no text
}

// readCredential reads the variable that dev names: user:password is sent as
// Basic (RFC 7617), a token as Bearer (RFC 6750).
func readCredential(dev program.Device, env func(string) string) (credential, error) {
	name, what := dev.Token, "token"
	if dev.Login != "" {
		name, what = dev.Login, "login"
	}
	if name == "" {
		return nil, nil
	}
	value := env(name)
	unusable := func(why string) (credential, error) {
		return nil, &wire.Fault{Code: "credential-unusable",
			What: fmt.Sprintf("the variable `%s` with the %s of `%s` %s", name, what, dev.Name, why)}
	}
	switch {
	case value == "":
		return nil, &wire.Fault{Code: "credential-missing",
			What: fmt.Sprintf("the variable `%s` with the %s of `%s` is not set", name, what, dev.Name)}
	case strings.ContainsFunc(value, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return unusable("holds a line end or another control character")
	case what == "token":
		if strings.ContainsFunc(value, func(r rune) bool { return r <= ' ' || r >= 0x7f }) {
			return unusable("holds a space or a character that is not ASCII")
		}
		return func() secret { return secret{"Bearer " + value, []string{value}} }, nil
	}
	_, password, ok := strings.Cut(value, ":")
	if !ok {
		return unusable("is not user:password")
	}
	basic := base64.StdEncoding.EncodeToString([]byte(value))
	return func() secret { return secret{"Basic " + basic, []string{basic, value, password}} }, nil
}

// scrub takes the credential out of a text that came from outside.
func (c credential) scrub(text string) string {
	if c == nil {
		return text
	}
	for _, s := range c().hidden {
		if s != "" {
			text = strings.ReplaceAll(text, s, "(credential)")
		}
	}
	return text
}
