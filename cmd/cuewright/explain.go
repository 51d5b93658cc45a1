package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/diag"
	"cuewright/macro/lesson"
	"cuewright/macro/report"
)

func newExplain(s streams) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "explain [CODE]",
		Short: "Teach what a finding means, with a wrong and a mended example",
		Long: `Explain what the code at the end of a finding means, why it matters on the night,
and how a show looks without it. With no code, list all codes.

` + exitHelp,
		Example: `  cuewright explain unknown-name
  cuewright explain`,
		Args:              need("at most one code", 0, 1),
		ValidArgsFunction: completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return listCodes(s.out, asJSON)
			}
			code := strings.Trim(args[0], "[]`")
			if !diag.Known(diag.Code(code)) {
				return &mistake{word: args[0], what: fmt.Sprintf("there is no code `%s`", code), candidates: codeNames()}
			}
			return explain(s.out, diag.Lookup(diag.Code(code)), asJSON)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

func codeNames() []string {
	var all []string
	for _, e := range diag.Codes() {
		all = append(all, string(e.Code))
	}
	return all
}

func completeCodes(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	var all []cobra.Completion
	for _, e := range diag.Codes() {
		all = append(all, cobra.CompletionWithDesc(string(e.Code), e.Title))
	}
	return all, cobra.ShellCompDirectiveNoFileComp
}

// explained is the JSON form of a code.
type explained struct {
	Code     diag.Code         `json:"code"`
	Severity string            `json:"severity"`
	Title    string            `json:"title"`
	Why      string            `json:"why"`
	Lesson   string            `json:"lesson,omitempty"`
	Examples map[string]string `json:"examples,omitempty"`
}

func listCodes(w io.Writer, asJSON bool) error {
	if asJSON {
		out := struct {
			Version int         `json:"version"`
			Codes   []explained `json:"codes"`
		}{Version: report.Version}
		for _, e := range diag.Codes() {
			out.Codes = append(out.Codes, explained{Code: e.Code, Severity: e.Severity.String(), Title: e.Title, Why: e.Why})
		}
		return report.Write(w, out)
	}
	for _, e := range diag.Codes() {
		if _, err := fmt.Fprintf(w, "%-8s %-32s %s\n", e.Severity, e.Code, e.Title); err != nil {
			return err
		}
	}
	return nil
}

func explain(w io.Writer, e diag.Entry, asJSON bool) error {
	l, _ := lesson.Get(e.Code)
	if asJSON {
		out := struct {
			Version int `json:"version"`
			explained
		}{report.Version, explained{e.Code, e.Severity.String(), e.Title, e.Why, l.Words, map[string]string{}}}
		for _, f := range l.Files {
			out.Examples[f.Name] = f.Text
		}
		return report.Write(w, out)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s (%s): %s\n\n%s\n", e.Code, e.Severity, e.Title, e.Why)
	if l.Words != "" && l.Words != e.Why {
		fmt.Fprintf(&b, "\n%s\n", l.Words)
	}
	for _, f := range l.Files {
		side, form, _ := strings.Cut(f.Name, ".")
		form = map[string]string{"show": "in the show", "yaml": "in the plan", "command": "on the command line"}[form]
		fmt.Fprintf(&b, "\n%s, %s:\n\n", strings.ToUpper(side[:1])+side[1:], form)
		for _, line := range strings.Split(strings.TrimRight(f.Text, "\n"), "\n") {
			fmt.Fprintf(&b, "    %s\n", line)
		}
	}
	if e.Severity != diag.Error {
		fmt.Fprintf(&b, "\nWhere it is meant: allow %s \"the reason\"\n", e.Code)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
