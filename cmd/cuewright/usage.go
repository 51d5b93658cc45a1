package main

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/report"
	"cuewright/macro/source"
)

// mistake is a mistake in calling the program: what is wrong, the word of the
// command line that is, and what may have been meant.
type mistake struct {
	word       string
	what       string
	candidates []string
	mend       string
}

func (m *mistake) Error() string { return m.what }

// tellUsage reports a mistake in calling the program as a finding on the
// command line itself, as text or, with --json, as JSON.
func tellUsage(called *cobra.Command, args []string, err error, s streams) int {
	m := mistakeOf(called, err)
	at := commandLine(args, m.word)
	d := diag.New("wrong-usage", at, "%s", m.what)
	for _, name := range nearest.Names(m.word, m.candidates) {
		d = d.Replace(at, name, false, "write `%s`", name)
	}
	switch {
	case m.mend != "" && !(len(d.Mends) > 0 && strings.HasPrefix(m.mend, "there ")): // the near ones are enough
		d = d.Mend("%s", m.mend)
	case len(d.Mends) == 0 && called != nil:
		d = d.Mend("see `%s --help`", called.CommandPath())
	}
	if slices.Contains(args, "--json") {
		report.JSON(s.out, diag.List{d})
	} else {
		report.Alone(s.err, d, s.colourErr)
	}
	return exitUsage
}

// commandLine is the place of a word in the command line, which is shown as a
// file of one line; the whole of it when the word is not there.
func commandLine(args []string, word string) source.Span {
	var b strings.Builder
	b.WriteString("cuewright")
	start, end := 0, -1
	for _, a := range args {
		b.WriteByte(' ')
		from, it := b.Len(), word != "" && (strings.HasPrefix(a, word) || strings.HasSuffix(a, "="+word))
		a = masked(a)
		if strings.ContainsAny(a, " \t\n'\"") || a == "" {
			a = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
		b.WriteString(a)
		if end < 0 && it {
			start, end = from, from+len(a)
		}
	}
	f := source.New("command line", []byte(b.String()))
	if end < 0 {
		end = b.Len()
	}
	return f.At(start, end)
}

// mistakeOf turns what cobra and its flags say into our words.
func mistakeOf(called *cobra.Command, err error) *mistake {
	var ours *mistake
	var unknown *pflag.NotExistError
	var value *pflag.InvalidValueError
	var missing *pflag.ValueRequiredError
	switch {
	case errors.As(err, &ours):
		return ours
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		dashes := "--"
		if unknown.GetSpecifiedShortnames() != "" {
			dashes = "-"
		}
		return &mistake{word: dashes + name, what: "there is no flag `" + dashes + name + "` for `" + called.CommandPath() + "`",
			candidates: flagsOf(called)}
	case errors.As(err, &value):
		return &mistake{word: "--" + value.GetFlag().Name, what: "`" + value.GetValue() + "` does not fit the flag `--" +
			value.GetFlag().Name + "`: " + value.GetFlag().Usage}
	case errors.As(err, &missing):
		return &mistake{word: "--" + missing.GetSpecifiedName(), what: "the flag `--" + missing.GetSpecifiedName() + "` needs a value"}
	}
	return &mistake{what: err.Error()}
}

func flagsOf(c *cobra.Command) []string {
	var all []string
	c.Flags().VisitAll(func(f *pflag.Flag) { all = append(all, "--"+f.Name) })
	return all
}

// firstExample is the first line of a command's examples.
func firstExample(c *cobra.Command) string {
	line, _, _ := strings.Cut(strings.TrimSpace(c.Example), "\n")
	command, _, _ := strings.Cut(line, "   ")
	return "`" + strings.TrimSpace(command) + "`"
}
