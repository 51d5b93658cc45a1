package compare

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
)

// differ compares two versions. Its pairs are indexes of the same thing in
// both, -1 where it is only in the other.
type differ struct {
	was, is *version
	changes []Change

	pagePairs, buttonPairs, cuePairs, macroPairs, salvoPairs [][2]int32
}

func newDiffer(was, is *program.Program) *differ {
	d := &differ{was: newVersion(was), is: newVersion(is)}
	d.salvoPairs = d.pair(salvoKeys(d.was), salvoKeys(d.is), func(v *version, i int32) string { return text(v.salvo(i)) },
		func(a, b int32) { d.was.salvos[a], d.is.salvos[b] = is.Salvos[b].Name, is.Salvos[b].Name })
	d.macroPairs = d.pair(macroKeys(d.was), macroKeys(d.is), (*version).macroText,
		func(a, b int32) { d.was.macros[a], d.is.macros[b] = is.Tasks[b].Name, is.Tasks[b].Name })
	d.pagePairs = d.pair(pageKeys(d.was), pageKeys(d.is), (*version).grid,
		func(a, b int32) { d.was.pages[a], d.is.pages[b] = is.Pages[b].Name, is.Pages[b].Name })
	d.cuePairs = d.pair(cueKeys(d.was), cueKeys(d.is), func(v *version, i int32) string {
		return v.p.Cues[i].Label + "\n" + text(v.script(v.p.Cues[i].Task, 0))
	}, func(a, b int32) { d.was.cues[a], d.is.cues[b] = is.Cues[b].Number, is.Cues[b].Number })
	d.pairButtons()
	return d
}

// key is a thing that has a name.
type key struct {
	name  string
	index int32
}

func salvoKeys(v *version) (keys []key) {
	for i, s := range v.p.Salvos {
		keys = append(keys, key{s.Name, int32(i)})
	}
	return keys
}

// macroKeys are macros by their tasks, those that are run before those that
// run them.
func macroKeys(v *version) (keys []key) {
	for _, m := range v.p.Macros {
		keys = append(keys, key{m.Name, m.Task})
	}
	slices.SortFunc(keys, func(a, b key) int { return cmp.Compare(a.index, b.index) })
	return keys
}

func pageKeys(v *version) (keys []key) {
	for i, p := range v.p.Pages {
		keys = append(keys, key{p.Name, int32(i)})
	}
	return keys
}

func cueKeys(v *version) (keys []key) {
	for i, c := range v.p.Cues {
		keys = append(keys, key{c.Number, int32(i)})
	}
	return keys
}

// pair joins things of both versions: those of the same name, then of the
// others those with the same content, each once; tell learns of each pair
// before the next content is asked for. Pairs are in the order of the new
// version, things that are gone stand last.
func (d *differ) pair(was, is []key, content func(v *version, i int32) string, tell func(a, b int32)) [][2]int32 {
	mate := map[int32]int32{}
	taken := map[int32]bool{}
	for _, b := range is {
		if i := slices.IndexFunc(was, func(a key) bool { return a.name == b.name }); i >= 0 && !taken[was[i].index] {
			mate[b.index], taken[was[i].index] = was[i].index, true
			tell(was[i].index, b.index)
		}
	}
	for _, b := range is {
		if _, done := mate[b.index]; done {
			continue
		}
		for _, a := range was {
			if !taken[a.index] && content(d.was, a.index) == content(d.is, b.index) {
				mate[b.index], taken[a.index] = a.index, true
				tell(a.index, b.index)
				break
			}
		}
	}
	var pairs [][2]int32
	for _, b := range is {
		if a, ok := mate[b.index]; ok {
			pairs = append(pairs, [2]int32{a, b.index})
		} else {
			pairs = append(pairs, [2]int32{-1, b.index})
		}
	}
	for _, a := range was {
		if !taken[a.index] {
			pairs = append(pairs, [2]int32{a.index, -1})
		}
	}
	return pairs
}

// macroText is all that a macro does, with whatever arguments.
func (v *version) macroText(task int32) string {
	t := &v.p.Tasks[task]
	var all []string
	for e := range t.Entries {
		all = append(all, argValues(t.Args[e])+"\n"+text(v.script(task, int32(e))))
	}
	slices.Sort(all)
	return fmt.Sprint(t.Again) + strings.Join(all, "\n")
}

// grid is how a page looks: its surfaces, cells and labels.
func (v *version) grid(page int32) string {
	out := strings.Join(v.surfacesOf(page), ",")
	for _, b := range v.buttonsOf(page) {
		x := &v.p.Buttons[b]
		out += fmt.Sprintf("\n%d.%d %q", x.Row, x.Column, x.Label)
	}
	return out
}

// buttonsOf lists a page's buttons by their cells.
func (v *version) buttonsOf(page int32) []int32 {
	all := slices.Clone(v.p.Pages[page].Buttons)
	slices.SortFunc(all, func(a, b int32) int {
		x, y := &v.p.Buttons[a], &v.p.Buttons[b]
		return cmp.Or(cmp.Compare(x.Row, y.Row), cmp.Compare(x.Column, y.Column))
	})
	return all
}

// surfacesOf names the surfaces that a page can be on.
func (v *version) surfacesOf(page int32) (names []string) {
	for _, s := range v.p.Surfaces {
		if slices.Contains(s.Pages, page) {
			names = append(names, s.Name)
		}
	}
	return names
}

// pairButtons joins buttons: those that are quite the same in the same cell,
// then those that are the same elsewhere, then what is left by the cell.
func (d *differ) pairButtons() {
	cell := func(v *version, i int32) string {
		b := &v.p.Buttons[i]
		return fmt.Sprintf("%s %d.%d", v.page(b.Page), b.Row, b.Column)
	}
	same := func(v *version, i int32) string {
		b := &v.p.Buttons[i]
		return fmt.Sprintf("%q %v ", b.Label, b.Guarded) + text(v.press(i)) + text(v.lamps(i))
	}
	mate := map[int32]int32{}
	taken := map[int32]bool{}
	join := func(by func(v *version, i int32) string) {
		free := map[string][]int32{}
		for a := range d.was.p.Buttons {
			if !taken[int32(a)] {
				free[by(d.was, int32(a))] = append(free[by(d.was, int32(a))], int32(a))
			}
		}
		for b := range d.is.p.Buttons {
			if _, done := mate[int32(b)]; done {
				continue
			}
			if some := free[by(d.is, int32(b))]; len(some) > 0 {
				mate[int32(b)], taken[some[0]] = some[0], true
				free[by(d.is, int32(b))] = some[1:]
			}
		}
	}
	join(func(v *version, i int32) string { return cell(v, i) + same(v, i) })
	join(same)
	join(cell)
	for b := range d.is.p.Buttons {
		a, ok := mate[int32(b)]
		if !ok {
			a = -1
		}
		d.buttonPairs = append(d.buttonPairs, [2]int32{a, int32(b)})
	}
	for a := range d.was.p.Buttons {
		if !taken[int32(a)] {
			d.buttonPairs = append(d.buttonPairs, [2]int32{int32(a), -1})
		}
	}
}

// users are the buttons and cues that run each macro's task and fire each
// salvo, themselves or by other macros.
type users struct{ macros, salvos map[int32][]string }

func (v *version) users() users {
	u := users{map[int32][]string{}, map[int32][]string{}}
	note := func(name string, roots ...int32) {
		tasks, salvos := map[int32]bool{}, map[int32]bool{}
		var visit func(task int32)
		visit = func(task int32) {
			if task < 0 || tasks[task] {
				return
			}
			tasks[task] = true
			u.macros[task] = append(u.macros[task], name)
			from, to := v.p.CodeOf(task)
			for _, in := range v.p.Code[from:to] {
				switch {
				case in.Op == program.Run:
					visit(in.A)
				case in.Op == program.Fire && !salvos[in.A]:
					salvos[in.A] = true
					u.salvos[in.A] = append(u.salvos[in.A], name)
				}
			}
		}
		for _, r := range roots {
			visit(r)
		}
	}
	for i, b := range v.p.Buttons {
		note(v.button(int32(i)), b.Press, b.Hold, b.Release)
	}
	for i, c := range v.p.Cues {
		note(v.cueWords(int32(i)), c.Task)
	}
	return u
}
