package syntax

import (
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
)

// joints are the words that hold a statement together. One of them in place of
// another is a wrong word; any other word there means that one is missing.
var joints = []string{"to", "from", "with", "over", "shot", "on", "in", "into", "at", "by", "for", "of", "uses", "use", "using", "when", "via", "as", "than", "then"}

// action reads a verb's operands by its row in the table. After a mistake that
// leaves nothing to go on with, the rest of the slots are empty.
func (p *parser) action(v *Verb, start int32) *Action {
	a := &p.actions.take(1)[0]
	a.Verb, a.VerbAt = v, p.since(start)
	a.Operands, a.Words = p.lists.take(len(v.Slots)), p.words.take(len(v.Slots))
	for i := 0; i < len(v.Slots); i++ {
		if n := v.Slots[i].Opens; n > 0 && !p.opens(v, i) {
			i += n - 1
			continue
		}
		if !p.slot(a, i) {
			break
		}
	}
	a.At = p.since(start)
	return a
}

// opens says whether the optional slots from i on are written here.
func (p *parser) opens(v *Verb, i int) bool {
	want, w := v.Slots[i].Word, p.word()
	if w == want {
		return true
	}
	end := i + v.Slots[i].Opens
	if w == "" || end == len(v.Slots) || w == v.Slots[end].Word {
		return false
	}
	// Another word: the first of the optional ones misspelt, or left out
	// before its operand.
	then := v.Slots[end].Word
	return near(w, []string{want}) != "" || slices.Contains(joints, w) || p.textOf(p.peek()) == then
}

// slot reads what slot i asks for. It is false when the line gives no more.
func (p *parser) slot(a *Action, i int) bool {
	s := &a.Verb.Slots[i]
	var then *Slot
	if i+1 < len(a.Verb.Slots) {
		then = &a.Verb.Slots[i+1]
	}
	switch {
	case s.Word != "":
		return p.fixed(s.Word, then, a.Verb.Example)
	case s.Words != nil:
		return p.choice(a, i)
	case s.Args:
		if p.isSymbol('(') {
			p.inBrackets(a.Verb.Example, func() {
				arg := p.arg(`send lights(level: 40)`)
				name := Operand{Word, arg.Name.Text, arg.Name.At}
				if arg.Name.Text == "" {
					name.Kind = Bad
				}
				a.Operands[i] = append(a.Operands[i], name, arg.Value)
			})
		}
		return true
	}
	return p.operands(a, i, then)
}

// operands reads the one operand of a slot, or all where it takes a list.
func (p *parser) operands(a *Action, i int, then *Slot) bool {
	s, example := &a.Verb.Slots[i], a.Verb.Example
	one, ok := p.slotOperand(s, then, example)
	list := p.slabs.operands.take(1)
	list[0] = one
	for ok && s.List {
		if !p.takeSymbol(',') && !p.commaMissing(then) {
			break
		}
		one, ok = p.slotOperand(s, then, example)
		list = append(list, one)
	}
	a.Operands[i] = list
	return ok
}

// slotOperand takes one operand. Kinds are the matter of macro/check, but that
// a time wants a unit is known here.
func (p *parser) slotOperand(s, then *Slot, example string) (Operand, bool) {
	at := p.here()
	switch {
	case p.tok.Kind == Word && then != nil && p.belongs(then):
		p.report(diag.New("operand-missing", at, "the %s is missing before `%s`", s.Role, p.word()).Mend("write it as in `%s`", example))
		return Operand{Kind: Bad, At: at}, true
	case p.tok.Kind == Number && s.Kinds == noun.Duration:
		p.unitMissing()
		return Operand{Kind: Bad, At: at}, true
	case s.Kinds == noun.Duration && p.negative():
		return Operand{Kind: Bad, At: at}, true
	case p.isValue():
		op := p.operand()
		p.next()
		return op, true
	case p.tok.Kind == Bad:
		p.next()
		return Operand{Kind: Bad, At: at}, true
	}
	at = p.missingAt()
	p.report(diag.New("operand-missing", at, "the %s is missing", s.Role).Mend("write it as in `%s`", example))
	return Operand{Kind: Bad, At: at}, false
}

// belongs says whether the current word is the fixed word of a slot.
func (p *parser) belongs(s *Slot) bool {
	w := p.word()
	return s.Word == w || slices.Contains(s.Words, w)
}

// commaMissing says that another operand of a list follows without comma, and
// takes the `and` that may stand in its place.
func (p *parser) commaMissing(then *Slot) bool {
	w := p.word()
	if w == "" || beginsStatement(w) || then != nil && (p.belongs(then) || slices.Contains(joints, w) || near(w, fixedWords(then)) != "") {
		return false
	}
	next := p.peek()
	if w == "and" && isValue(next) {
		at := p.span(p.end, p.tok.End)
		p.report(diag.New("comma-missing", p.here(), "a comma stands between the things of a list").
			Replace(at, ",", true, "write a comma for `and`"))
		p.next()
		return true
	}
	if then != nil && next.Kind != Word && !isSymbol(p.text, next, ',') {
		return false // the last word before the line's end is more likely a wrong one
	}
	at := p.last()
	p.report(diag.New("comma-missing", at, "a comma is missing after `%s`", at.Text()).
		Replace(p.span(at.End, at.End), ",", true, "write a comma"))
	return true
}

func fixedWords(s *Slot) []string {
	if s.Word != "" {
		return []string{s.Word}
	}
	return s.Words
}

// fixed takes the word that must stand here. Without it, it is false when
// there is nothing to go on with. Then, which may be nil, is the slot after
// it.
func (p *parser) fixed(word string, then *Slot, example string) bool {
	if p.takeWord(word) {
		return true
	}
	w, at := p.word(), p.here()
	switch {
	case p.tok.Kind == Bad:
		p.next()
		return true
	case w != "" && then != nil && then.Word == w:
		p.report(diag.New("word-missing", at, "`%s` is missing before `%s`", word, w).
			Replace(p.span(at.Start, at.Start), word+" ", true, "write `%s` before it", word))
		return true
	case w != "" && then != nil && then.Word != "" && p.textOf(p.peek()) == then.Word:
		p.report(diag.New("word-wrong", at, "here belongs `%s`, not `%s`", word, w).Replace(at, word, false, "write `%s`", word))
		p.next()
		return true
	case w != "" && (near(w, []string{word}) != "" || slices.Contains(joints, w)) && (isValue(p.peek()) || p.peek().Kind == Bad):
		p.report(diag.New("word-wrong", at, "here belongs `%s`, not `%s`", word, w).Replace(at, word, true, "write `%s`", word))
		p.next()
		return true
	case p.isValue() && (then == nil || then.Word == "") && !beginsStatement(w):
		p.report(diag.New("word-missing", at, "`%s` is missing before `%s`", word, p.textOf(p.tok)).
			Replace(p.span(at.Start, at.Start), word+" ", true, "write `%s` before it", word))
		return true
	}
	p.report(diag.New("word-missing", p.missingAt(), "`%s` is missing here", word).Mend("write it as in `%s`", example))
	return false
}

// choice takes one of a slot's words.
func (p *parser) choice(a *Action, i int) bool {
	s := &a.Verb.Slots[i]
	w, at := p.word(), p.here()
	switch {
	case w != "" && slices.Contains(s.Words, w):
		a.Words[i] = w
		p.next()
		return true
	case p.tok.Kind == Bad:
		p.next()
		return true
	case w != "" && !beginsStatement(w) && !(i+1 < len(a.Verb.Slots) && p.belongs(&a.Verb.Slots[i+1])):
		p.report(instead(diag.New("choice-missing", at, "here belongs %s, not `%s`", listWords(s.Words), w), w, s.Words).
			Mend("write it as in `%s`", a.Verb.Example))
		p.next()
		return true
	}
	p.report(diag.New("choice-missing", p.missingAt(), "%s is missing here", listWords(s.Words)).Mend("write it as in `%s`", a.Verb.Example))
	return w != ""
}
