package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/sim/compare"
	"cuewright/sim/story"
)

func newTies(s streams) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "ties SHOW|PROGRAM",
		Short: "Give each route of the show its tie lines for good, and count them",
		Long: `Give each picture that the show routes to a destination one way through the tie lines, so that a
button always uses the same lines whatever else is live. Where that cannot be, name the
smallest set of routes that cannot, whether they can be live together at all, and how many
tie lines the show would need. Any route may be live together with any other, but for those
to one destination.

Exit codes: 0 every route fits (there may be some without a way for good), 1 routes that can
be live together do not fit, 2 called wrongly, a file could not be used, or not decided.`,
		Example: `  cuewright ties final.show
  cuewright ties final.show --json`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := load(s, args[0], asJSON)
			if err != nil {
				return err
			}
			demands := compare.Demands(r.Program)
			list := tieListOf(r.Program, demands, compare.Allocate(r.Program, demands, compare.Independent(demands)))
			if asJSON {
				list.Document = report.NewDocument(r.Findings)
				err = report.Write(s.out, list)
			} else {
				err = list.text(s.out)
			}
			if err != nil {
				return err
			}
			switch {
			case len(list.Clash) > 0:
				return exit(exitFindings)
			case !list.Decided || !list.Fits:
				return exit(exitUsage)
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

// tieList is the allocation in JSON.
type tieList struct {
	report.Document
	Routes  []tieRoute `json:"routes"`
	Fixed   bool       `json:"fixed"` // every route has its way for good
	Core    []string   `json:"cannot_be_fixed"`
	Proved  bool       `json:"smallest"` // no smaller set than cannot_be_fixed
	Clash   []string   `json:"cannot_be_live_together"`
	Fits    bool       `json:"fits"`
	Groups  []tieGroup `json:"groups"`
	Decided bool       `json:"decided"`
}

// tieRoute is a route and its way. Ties are those that it goes over.
type tieRoute struct {
	Route string   `json:"route"`
	At    []string `json:"at"`
	Ties  []string `json:"ties"`
	Fixed bool     `json:"fixed"`
}

// tieGroup is tie lines that can stand in for each other. Need is -1 when it
// is not known.
type tieGroup struct {
	Ties []string `json:"ties"`
	Have int      `json:"have"`
	Need int      `json:"need"`
}

func tieListOf(p *program.Program, demands []compare.Demand, a compare.Allocation) *tieList {
	l := &tieList{Routes: []tieRoute{}, Fixed: a.Fixed, Core: []string{}, Proved: a.Smallest, Clash: []string{},
		Fits: a.Fits, Groups: []tieGroup{}, Decided: a.Decided}
	for i := range demands {
		r := tieRoute{Route: routeWords(p, &demands[i]), Ties: []string{}, Fixed: a.Ways[i] != nil}
		for _, action := range demands[i].Actions {
			if at := story.Place(p, p.Actions[action].At); !slices.Contains(r.At, at) {
				r.At = append(r.At, at)
			}
		}
		for _, sw := range a.Ways[i] {
			for _, t := range p.Ties {
				if t.Switch == sw {
					r.Ties = append(r.Ties, t.Name)
				}
			}
		}
		l.Routes = append(l.Routes, r)
	}
	for _, i := range a.Core {
		l.Core = append(l.Core, l.Routes[i].Route)
	}
	for _, i := range a.Clash {
		l.Clash = append(l.Clash, l.Routes[i].Route)
	}
	for _, g := range a.Lines {
		group := tieGroup{Have: len(g.Ties), Need: g.Need}
		for _, t := range g.Ties {
			group.Ties = append(group.Ties, p.Ties[t].Name)
		}
		l.Groups = append(l.Groups, group)
	}
	return l
}

// routeWords is a demand in the words of the language: "screens, side from main".
func routeWords(p *program.Program, d *compare.Demand) string {
	var names []string
	for _, i := range d.Destinations {
		names = append(names, p.Destinations[i].Name)
	}
	if d.Tie >= 0 {
		names = append(names, p.Ties[d.Tie].Name)
	}
	command := program.Command{Verb: program.RouteTie, A: d.Tie, B: d.Picture}
	if d.Tie < 0 {
		command.Verb, command.A = program.Route, d.Destinations[0]
	}
	words := story.Command(p, command)
	_, from, _ := strings.Cut(words, " from ")
	return strings.Join(names, ", ") + " from " + from
}

func (l *tieList) text(w io.Writer) error {
	var b strings.Builder
	direct := 0
	for _, r := range l.Routes {
		switch {
		case !r.Fixed:
			fmt.Fprintf(&b, "%s: no way for good, it is found when it is pressed  (%s)\n", r.Route, strings.Join(r.At, ", "))
		case len(r.Ties) == 0:
			direct++
		default:
			fmt.Fprintf(&b, "%s: always by %s  (%s)\n", r.Route, strings.Join(r.Ties, ", "), strings.Join(r.At, ", "))
		}
	}
	put := func(head string, routes []string) {
		if len(routes) > 0 {
			b.WriteString(head + "\n")
			for _, r := range routes {
				b.WriteString("  " + r + "\n")
			}
		}
	}
	switch {
	case l.Proved:
		put("these cannot all have a way for good, and no smaller set is so:", l.Core)
	default:
		put("these cannot all have a way for good, and none can be left out:", l.Core)
	}
	put("these cannot be live together, however they are routed:", l.Clash)
	for _, g := range l.Groups {
		fmt.Fprintf(&b, "%s: %d there, ", strings.Join(g.Ties, ", "), g.Have)
		if g.Need < 0 {
			b.WriteString("how many the show needs was not found\n")
		} else {
			fmt.Fprintf(&b, "%d needed\n", g.Need)
		}
	}
	b.WriteString(l.summary(direct))
	_, err := io.WriteString(w, b.String())
	return err
}

func (l *tieList) summary(direct int) string {
	open := 0
	for _, r := range l.Routes {
		if !r.Fixed {
			open++
		}
	}
	text := fmt.Sprintf("%s: %d need no tie line, %d always go over the same, %d have no way for good\n",
		counted(len(l.Routes), "route", "routes"), direct, len(l.Routes)-direct-open, open)
	switch {
	case len(l.Clash) > 0:
	case !l.Fits:
		text += "whether all that can be live together fits was not decided\n"
	case !l.Fixed:
		text += "all that can be live together fits\n"
	}
	return text
}
