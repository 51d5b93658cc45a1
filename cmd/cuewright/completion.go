package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/targets/prepare"
)

// completed is what a shell offers for one word.
type completed = func(c *cobra.Command, args []string, word string) ([]cobra.Completion, cobra.ShellCompDirective)

// completeArgs makes a command offer what its usage line asks for, unless it
// knows better.
func completeArgs(c *cobra.Command) {
	switch {
	case c.ValidArgsFunction != nil:
	case c.Name() == "diff":
		c.ValidArgsFunction = completing(2, true, nil)
	case strings.Contains(c.Use, "SHOW"):
		c.ValidArgsFunction = completing(1, strings.Contains(c.Use, "PROGRAM"), nil)
	}
	if c.Flags().Lookup("to") != nil {
		completeFlag(c, "to", devicesTo, cobra.ShellCompDirectiveNoSpace)
	}
}

// completing offers shows, and compiled ones where they will do, for the first
// most arguments, and for those behind them what a show has, if anything.
func completing(most int, programs bool, then func(p *program.Program) []cobra.Completion) completed {
	return func(_ *cobra.Command, args []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
		switch {
		case most < 0 || len(args) < most:
			return files(word, programs)
		case then != nil:
			return ofShow(args, word, then), cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}

// files are the folders and shows that begin with a word, and compiled shows,
// which are known by how they begin: they may have any name.
func files(word string, programs bool) ([]cobra.Completion, cobra.ShellCompDirective) {
	dir, _ := filepath.Split(word)
	entries, err := os.ReadDir(filepath.Clean("./" + dir))
	if filepath.IsAbs(word) {
		entries, err = os.ReadDir(dir)
	}
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	how := cobra.ShellCompDirectiveNoFileComp
	var out []cobra.Completion
	for _, e := range entries {
		name := dir + e.Name()
		switch {
		case !strings.HasPrefix(name, word), strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			out = append(out, name+"/")
			how |= cobra.ShellCompDirectiveNoSpace
		case filepath.Ext(name) == ".show", programs && isProgram(name):
			out = append(out, name)
		}
	}
	return out, how
}

// isProgram says whether a file begins as a compiled show does.
func isProgram(name string) bool {
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() {
		return false
	}
	f, err := os.Open(name)
	if err != nil {
		return false
	}
	defer f.Close()
	start := make([]byte, 64)
	n, _ := f.Read(start)
	return program.Begins(start[:n])
}

// ofShow are the things of the show of a command line that begin with a word;
// none when the show cannot be compiled.
func ofShow(args []string, word string, list func(p *program.Program) []cobra.Completion) []cobra.Completion {
	if len(args) == 0 {
		return nil
	}
	p := prepare.Any(args[0], prepare.Disk).Program
	if p == nil {
		return nil
	}
	var out []cobra.Completion
	for _, c := range list(p) {
		if strings.HasPrefix(c, word) {
			out = append(out, c)
		}
	}
	return out
}

// completeFlag makes a flag offer things of the show.
func completeFlag(c *cobra.Command, flag string, list func(p *program.Program) []cobra.Completion, how cobra.ShellCompDirective) {
	_ = c.RegisterFlagCompletionFunc(flag, func(_ *cobra.Command, args []string, word string) ([]cobra.Completion, cobra.ShellCompDirective) {
		return ofShow(args, word, list), how | cobra.ShellCompDirectiveNoFileComp
	}) // it fails only for a flag that there is not, and a test completes each
}

func cueNumbers(p *program.Program) []cobra.Completion {
	var out []cobra.Completion
	for _, c := range p.Cues {
		out = append(out, cobra.CompletionWithDesc(c.Number, c.Label))
	}
	return out
}

func buttonPlaces(p *program.Program) []cobra.Completion {
	var out []cobra.Completion
	for _, b := range p.Buttons {
		out = append(out, cobra.CompletionWithDesc(fmt.Sprintf("%s %d.%d", p.Pages[b.Page].Name, b.Row, b.Column), b.Label))
	}
	return out
}

func macroNames(p *program.Program) []cobra.Completion {
	var out []cobra.Completion
	for _, m := range p.Macros {
		out = append(out, m.Name)
	}
	return out
}

func rehearsalNames(p *program.Program) []cobra.Completion {
	var out []cobra.Completion
	for _, r := range p.Rehearsals {
		out = append(out, r.Name)
	}
	return out
}

// devicesTo are the devices that are sent to, as --to begins.
func devicesTo(p *program.Program) []cobra.Completion {
	var out []cobra.Completion
	for _, d := range p.Devices {
		if d.Wire != "" {
			out = append(out, cobra.CompletionWithDesc(d.Name+"=", d.Wire+"://"+d.Address))
		}
	}
	return out
}
