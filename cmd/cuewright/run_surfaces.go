package main

import (
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/midiwire"
	"cuewright/targets/status"
	"cuewright/targets/surface/keys"
	"cuewright/targets/surface/midi"
	"cuewright/targets/surface/oscin"
	"cuewright/targets/surface/plug"
	"cuewright/targets/surface/web"
)

// runSurfaces are the kinds of surface that `run` can serve.
func runSurfaces() []runSurface {
	var h httpFlags
	var o oscFlags
	var m, k fileFlags
	c := codeFlags{midi: &m}
	return []runSurface{
		{h.flags, h.check, h.serve},
		{o.flags, o.check, o.serve},
		{c.flags, c.check, c.serve},
		{m.midiFlags, m.check, m.serveMIDI},
		{k.keysFlags, k.check, k.serveKeys},
	}
}

// tokenVariable is where the token is when no file is given.
const tokenVariable = "CUEWRIGHT_TOKEN"

// httpFlags are the flags of the page for tablets.
type httpFlags struct {
	config    web.Config
	tokenFile string
}

func (h *httpFlags) flags(f *pflag.FlagSet) {
	f.StringVar(&h.config.Address, "http", "", "serve the page for tablets and its interface at `ADDR`, as 127.0.0.1:8080")
	f.StringArrayVar(&h.config.Hosts, "http-name", nil, "a further `NAME` that tablets call this machine by")
	f.StringVar(&h.tokenFile, "token-file", "", "the pairing code is in `FILE`, which only its owner may read (or in "+tokenVariable+")")
	f.StringVar(&h.config.CertFile, "tls-cert", "", "serve HTTPS with the certificate in `FILE`")
	f.StringVar(&h.config.KeyFile, "tls-key", "", "and its key in `FILE`")
}

func (h *httpFlags) check(*program.Program) error {
	if h.config.Address == "" {
		return h.pointless()
	}
	h.config.Token = os.Getenv(tokenVariable)
	if h.tokenFile != "" {
		token, err := web.ReadToken(h.tokenFile)
		if err != nil {
			return &mistake{word: h.tokenFile, what: err.Error()}
		}
		h.config.Token = token
	}
	if err := h.config.Check(); err != nil {
		return &mistake{word: "--http", what: err.Error(), mend: "write the code into a file, chmod 600 it, and add --token-file FILE"}
	}
	return nil
}

// pointless is a flag that is given without --http.
func (h *httpFlags) pointless() error {
	for _, f := range []struct{ name, value string }{
		{"--token-file", h.tokenFile}, {"--http-name", strings.Join(h.config.Hosts, " ")}, {"--tls-cert", h.config.CertFile}, {"--tls-key", h.config.KeyFile},
	} {
		if f.value != "" {
			return &mistake{word: f.name, what: "`" + f.name + "` is for --http, which is not given", mend: "add --http ADDR"}
		}
	}
	return nil
}

func (h *httpFlags) serve(desk *control.Controller, log *slog.Logger, source *status.Source) ([]opened, error) {
	if h.config.Address == "" {
		return nil, nil
	}
	h.config.Log, h.config.More = log, source.Handlers()
	s, err := web.Listen(desk, h.config)
	if err != nil {
		return nil, err
	}
	log.Info("tablets: " + s.URL())
	return []opened{s}, nil
}

// oscFlags are the flags of OSC.
type oscFlags struct {
	udp, tcp, slip string
	allow          []string
}

func (o *oscFlags) flags(f *pflag.FlagSet) {
	f.StringVar(&o.udp, "osc", "", "take OSC by UDP at `ADDR`, as 127.0.0.1:9000")
	f.StringVar(&o.tcp, "osc-tcp", "", "take OSC by TCP, with sizes, at `ADDR`")
	f.StringVar(&o.slip, "osc-slip", "", "take OSC by TCP, in SLIP frames, at `ADDR`")
	f.StringArrayVar(&o.allow, "allow", nil, "hear OSC from the network `CIDR` only, as 192.0.2.0/24 (this machine only, if none is given)")
}

func (o *oscFlags) check(*program.Program) error {
	if _, err := oscin.Allow(o.allow); err != nil {
		return &mistake{word: "--allow", what: err.Error(), mend: "write it as 192.0.2.0/24 or 192.0.2.7"}
	}
	if len(o.allow) > 0 && o.udp+o.tcp+o.slip == "" {
		return &mistake{word: "--allow", what: "`--allow` is for OSC, which is not taken anywhere", mend: "add --osc ADDR"}
	}
	return nil
}

func (o *oscFlags) serve(desk *control.Controller, log *slog.Logger, _ *status.Source) ([]opened, error) {
	allow, err := oscin.Allow(o.allow)
	if err != nil {
		return nil, err
	}
	var open []opened
	for _, l := range []struct{ wire, at string }{{"osc.udp", o.udp}, {"osc.tcp", o.tcp}, {"osc.slip", o.slip}} {
		if l.at == "" {
			continue
		}
		s, err := oscin.Listen(desk, oscin.Config{Wire: l.wire, Address: l.at, Allow: allow, Log: log})
		if err != nil {
			return open, err
		}
		open = append(open, s)
		log.Info(fmt.Sprintf("OSC: %s://%s", l.wire, s.Addr()))
	}
	return open, nil
}

// fileFlags are surfaces behind device files: SURFACE=FILE.
type fileFlags struct {
	name          string
	files         []string
	base, channel int
	extra         int
	grab          bool
	code          func(midiwire.Message) // of the file that the timecode comes from as well
	codeFile      string
}

func (d *fileFlags) midiFlags(f *pflag.FlagSet) {
	d.name = "--midi"
	f.StringArrayVar(&d.files, "midi", nil, "a MIDI controller is a surface: `SURFACE=FILE`, as desk=/dev/snd/midiC1D0")
	f.IntVar(&d.base, "midi-base", midi.DefaultBase, "the `NOTE` of row 1, column 1")
	f.IntVar(&d.channel, "midi-channel", 0, "the `CHANNEL`, 1 to 16; 0 is all")
	f.IntVar(&d.extra, "midi-extra", 0, "the first `NOTE` of four that keep a show on trial, end the trial, take the surface over and give it back; 0 is none")
}

func (d *fileFlags) keysFlags(f *pflag.FlagSet) {
	d.name = "--keys"
	f.StringArrayVar(&d.files, "keys", nil, "a keyboard is a surface: `SURFACE=FILE`, as desk=/dev/input/event3; Num Lock: something is wrong, Caps Lock: presses are refused, Scroll Lock: a cover is open")
	f.BoolVar(&d.grab, "keys-grab", false, "nobody else hears the keyboards")
}

func (d *fileFlags) check(p *program.Program) error {
	var names []string
	for i := range p.Surfaces {
		names = append(names, p.Surfaces[i].Name)
	}
	for _, text := range d.files {
		name, file, ok := strings.Cut(text, "=")
		switch {
		case !ok || file == "":
			return &mistake{word: text, what: fmt.Sprintf("`%s` is not a surface and its file", text), mend: "write it as " + d.name + " " + slices.Concat(names, []string{"desk"})[0] + "=FILE"}
		case file == plug.Stdin:
			return &mistake{word: text, what: "`run` reads lines on its input", mend: "give " + d.name + " a named pipe (mkfifo)"}
		case !slices.Contains(names, name):
			return &mistake{word: text, what: fmt.Sprintf("there is no surface `%s`", name), mend: there(names)}
		}
	}
	if d.channel < 0 || d.channel > 16 || d.base < 0 || d.base > 127 || d.extra < 0 || d.extra > 124 {
		return &mistake{word: d.name, what: "a MIDI note is 0 to 127, and a channel 1 to 16, or 0 for all"}
	}
	return nil
}

func (d *fileFlags) serveMIDI(desk *control.Controller, log *slog.Logger, _ *status.Source) ([]opened, error) {
	return d.each(func(name, file string) (opened, error) {
		c := midi.Config{File: file, Surface: name, Base: d.base, Channel: d.channel, Extra: d.extra, Log: log}
		if file == d.codeFile {
			c.Code = d.code
		}
		return midi.Start(desk, c)
	})
}

func (d *fileFlags) serveKeys(desk *control.Controller, log *slog.Logger, _ *status.Source) ([]opened, error) {
	return d.each(func(name, file string) (opened, error) {
		return keys.Start(desk, keys.Config{File: file, Surface: name, Grab: d.grab, Log: log})
	})
}

// each starts every file's surface.
func (d *fileFlags) each(start func(name, file string) (opened, error)) ([]opened, error) {
	var open []opened
	for _, text := range d.files {
		name, file, _ := strings.Cut(text, "=")
		one, err := start(name, file)
		if err != nil {
			return open, err
		}
		open = append(open, one)
	}
	return open, nil
}
