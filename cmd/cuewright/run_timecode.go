package main

import (
	"log/slog"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"cuewright/macro/program"
	"cuewright/targets/chase"
	"cuewright/targets/control"
	"cuewright/targets/status"
	"cuewright/targets/surface/plug"
)

// codeFlags say where a timecode comes from. It may be a file that is a MIDI
// surface as well, which can be opened only once.
type codeFlags struct {
	file string
	midi *fileFlags
}

func (t *codeFlags) flags(f *pflag.FlagSet) {
	f.StringVar(&t.file, "timecode", "", "follow MIDI Time Code from `FILE`, as /dev/snd/midiC1D0; it may be one of --midi too")
}

func (t *codeFlags) check(*program.Program) error {
	if t.file == plug.Stdin {
		return &mistake{word: "--timecode", what: "`run` reads lines on its input", mend: "give --timecode a named pipe (mkfifo)"}
	}
	return nil
}

func (t *codeFlags) serve(desk *control.Controller, log *slog.Logger, _ *status.Source) ([]opened, error) {
	switch {
	case t.file == "":
		if slices.ContainsFunc(desk.View().Program.Cues, func(q program.Cue) bool { return q.By == program.ByTimecode }) {
			log.Info("no --timecode: cues at a timecode fire by hand only")
		}
		return nil, nil
	case slices.ContainsFunc(t.midi.files, func(text string) bool { return strings.HasSuffix(text, "="+t.file) }):
		s := chase.New(desk.Timecode)
		t.midi.code, t.midi.codeFile = s.Hear, t.file
		return []opened{s}, nil
	}
	return []opened{chase.Start(t.file, log, desk.Timecode)}, nil
}
