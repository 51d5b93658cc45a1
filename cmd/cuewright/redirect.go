package main

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/targets/wire"
)

// redirected is the program with other addresses for some devices: each word
// is DEVICE=URL. A password that stands in one is never repeated.
func redirected(p *program.Program, to []string) (*program.Program, error) {
	q := *p
	q.Devices = slices.Clone(p.Devices)
	named := map[string]bool{}
	for _, word := range to {
		name, text, ok := strings.Cut(word, "=")
		if !ok || name == "" || text == "" {
			return nil, &mistake{word: word, what: fmt.Sprintf("`%s` is not a device and where it is", masked(word)),
				mend: "write it as deck=http://127.0.0.1:9203 or mixer=osc.udp://127.0.0.1:9201"}
		}
		i := slices.IndexFunc(q.Devices, func(d program.Device) bool { return d.Name == name && d.Wire != "" })
		var bad *mistake
		switch {
		case i < 0:
			bad = &mistake{what: fmt.Sprintf("there is no device `%s` that is sent to", name), mend: there(sentTo(p))}
		case named[name]:
			bad = &mistake{what: fmt.Sprintf("`%s` is sent to two places", name), mend: "give one --to for each device"}
		default:
			bad = redirect(&q.Devices[i], text)
		}
		if bad != nil {
			bad.word = word
			return nil, bad
		}
		named[name] = true
	}
	return &q, nil
}

// sentTo names the devices that have an address.
func sentTo(p *program.Program) []string {
	var names []string
	for _, d := range p.Devices {
		if d.Wire != "" {
			names = append(names, d.Name)
		}
	}
	return names
}

// redirect gives a device another address. What a plan may not say, may not be
// said here; the path that requests begin with stays the plan's.
func redirect(d *program.Device, text string) *mistake {
	a, wrong := plan.ParseAddress(text)
	switch {
	case wrong != nil && wrong.Code == "secret-in-plan":
		return &mistake{what: fmt.Sprintf("a login stands in the address of `%s`", d.Name), mend: loginHint(d)}
	case wrong != nil:
		return &mistake{what: masked(wrong.What), mend: "write it as " + d.Name + "=" + d.Wire + "://127.0.0.1:9200"}
	case isHTTP(string(a.Wire)) != isHTTP(d.Wire):
		return &mistake{what: fmt.Sprintf("`%s` speaks %s, and `%s` does not", d.Name, d.Wire, text),
			mend: "write it as " + d.Name + "=" + d.Wire + "://" + a.Host}
	case a.Base != "":
		return &mistake{what: fmt.Sprintf("`%s` is a path, and paths are the plan's", a.Base),
			mend: fmt.Sprintf("write it as %s=%s://%s", d.Name, a.Wire, a.Host)}
	}
	host, _, _ := strings.Cut(a.Host, ":")
	if strings.HasPrefix(a.Host, "[") {
		host, _, _ = strings.Cut(a.Host[1:], "]")
	}
	if d.Wire == "https" && a.Wire == plan.HTTP && d.Login+d.Token != "" && !wire.OnThisMachine(host) {
		return &mistake{what: fmt.Sprintf("the credentials of `%s` would go over the network in clear", d.Name),
			mend: "write it as " + d.Name + "=https://" + a.Host}
	}
	d.Wire, d.Address = string(a.Wire), a.Host
	return nil
}

// loginHint says where a device's login belongs.
func loginHint(d *program.Device) string {
	switch {
	case d.Login != "":
		return fmt.Sprintf("leave it out: the login is in the variable `%s`, as the plan says", d.Login)
	case d.Token != "":
		return fmt.Sprintf("leave it out: the token is in the variable `%s`, as the plan says", d.Token)
	}
	return "leave it out; write `login: NAME` in the plan, and put user:password into the variable NAME"
}

// masked is a word of the command line without the login in its address.
func masked(word string) string {
	start := strings.Index(word, "://")
	end := strings.LastIndexByte(word, '@')
	if start < 0 || end < start {
		return word
	}
	return word[:start+3] + "…" + word[end:]
}
