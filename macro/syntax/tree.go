// Package syntax reads the cue language: text to tokens to a tree that has
// lost nothing.
//
// Parse takes any bytes and always gives a File: the tree's tokens put in a
// row are the input's bytes. Mistakes are findings beside the tree, all of
// them in one run. The parser knows words and shapes; it does not know names
// (macro/check does) and not what a condition means (macro/cond does).
// The grammar is grammar.ebnf; the verbs are one table, verbs.go.
package syntax

import "cuewright/macro/source"

// TokenKind is the kind of a token.
type TokenKind uint8

// The kinds of token. Space, Newline and Comment carry no meaning for the
// parser except that a Newline ends a statement.
const (
	Space    TokenKind = iota // blanks, tabs, carriage returns
	Newline                   // one line feed
	Comment                   // # to the end of the line
	Word                      // letter or _, then letters, digits, _
	Number                    // 12 or 2.5 (also a button's place, 1.12, and a cue's number)
	Duration                  // 12f 500ms 1.5s 2m 00:00:05:12 00:00:05;12
	Clock                     // 19:30:00, behind `at` or `clock`
	String                    // "…", on one line, escapes \" \\ \n \t
	Symbol                    // { } ( ) [ ] , : ; . and operators: == != <= >= && || < > ! + - * / % ? =
	Bad                       // bytes that are none of these
)

// Token is a run of bytes of one kind. Every byte of the file is in exactly
// one token.
type Token struct {
	Kind       TokenKind
	Start, End int32
}

// File is a show file's tree. Show is nil when the head line is missing.
//
// What a syntax mistake left out is empty, never nil: a Name, Text or Cond with
// empty Text, an Operand of kind Bad, a Block without statements. The mistake
// was reported; later stages keep quiet about what is empty.
type File struct {
	Source  *source.File
	Tokens  []Token
	Show    *Show
	Items   []Item
	Partial bool   // some of the show was not understood, so that what is left may only look unused
	text    string // the input
}

// Show is the head line: show "League final" uses "rack.yaml".
type Show struct {
	At   source.Span
	Name Text
	Plan Text
}

// Name is a word of the user's. Text is empty where the word is missing.
type Name struct {
	Text string
	At   source.Span
}

// Text is a quoted string, with the escapes undone.
type Text struct {
	Text string
	At   source.Span
}

// Item is one thing at the top of a file: *Macro, *Salvo, *Page, *Rundown,
// *Rule, *Rehearsal, *Allow.
type Item interface{ Span() source.Span }

// Macro is a named script with typed parameters. Again says what a second run
// while it runs does: "" (ignored), "restart" or "queue".
type Macro struct {
	At     source.Span // the whole item
	Name   Name
	Params []Param
	Again  Name
	Body   *Block
}

// Param is one parameter: item: clip.
type Param struct{ Name, Kind Name }

// Salvo is a named set of actions fired together.
type Salvo struct {
	At   source.Span
	Name Name
	Body *Block
}

// Page is a grid of buttons for one or more surfaces.
type Page struct {
	At       source.Span
	Name     Name
	Surfaces []Name
	Buttons  []*Button
	Allows   []*Allow
}

// Cell is a button's place: row, column, both from 1. Zero where unreadable.
type Cell struct {
	Row, Column int
	At          source.Span
}

// Button is one button. Press, Hold and Release may each be nil.
type Button struct {
	At        source.Span
	Cell      Cell
	Label     Text
	Guarded   source.Span // the word, or zero
	Press     *Block
	HoldAfter Operand // a duration, when Hold is not nil
	Hold      *Block
	Release   *Block
	Lamps     []*Lamp
}

// Lamp overrides a button's lamp: lamp lit when COND. State is one of
// LampStates.
type Lamp struct {
	At    source.Span
	State Name
	When  *Cond
}

// LampStates are the words that may follow `lamp`, in the order in which they
// win when several hold: fault, pending, air, lit, dark.
var LampStates = []string{"fault", "pending", "air", "lit", "dark"}

// Rundown is the list of cues. A show has at most one. Zone is the time zone
// of its clock cues, empty where it is that of the machine.
type Rundown struct {
	At   source.Span
	Zone Text
	Cues []*Cue
}

// Cue is one cue. Number is its text ("2", "12.5"). Follow is empty, or the
// number of the cue whose end it follows, After the further wait. Moment is
// what fires it by itself: a Clock, or a Duration that is a timecode; it is of
// kind Bad when not said.
type Cue struct {
	At     source.Span
	Number Name
	Label  Text
	Follow Name
	After  Operand
	Moment Operand
	Body   *Block
}

// Rule is never, always … while, or possible. While is nil unless said.
type Rule struct {
	At    source.Span
	Verb  string // "never", "always" or "possible"
	Name  Text
	Cond  *Cond
	While *Cond
}

// Rehearsal is a scripted walk through the show.
type Rehearsal struct {
	At    source.Span
	Name  Text
	Steps []*Step
}

// Step is one line of a rehearsal. Which fields are set depends on Verb:
//
//	go [Cue]                          Cue
//	press PAGE R.C                    Page, Cell
//	hold PAGE R.C for DURATION        Page, Cell, Time
//	after DURATION                    Time
//	clock HH:MM:SS                    Time
//	timecode TIMECODE                 Time
//	expect COND                       Cond
//	expect alert "text"               Verb "expect alert", Text
//	expect finding CODE               Verb "expect finding", Code (kebab words, joined)
//	fault DEVICE away|refuses|slow|full|well   Device, Fault
type Step struct {
	At     source.Span
	Verb   string
	Cue    Name
	Page   Name
	Cell   Cell
	Time   Operand
	Cond   *Cond
	Text   Text
	Code   Name
	Device Name
	Fault  Name
}

// FaultWords are the words after `fault DEVICE`; "well" ends the fault.
var FaultWords = []string{"away", "refuses", "slow", "full", "well"}

// Allow accepts a finding with a written reason: allow CODE "reason" [until
// "2027-01-31"]. At the top it holds for the whole show, in a block or page
// for what stands there.
type Allow struct {
	At     source.Span
	Code   Name // kebab words, joined
	Reason Text
	Until  Text
}

// Cond is a condition, an expr-lang expression. Text is the bytes of At, with
// blanks for the comments in it; it is empty after a syntax mistake.
type Cond struct {
	At   source.Span
	Text string
}

// Block is { statements }.
type Block struct {
	At         source.Span // with the braces
	Statements []Statement
}

// Statement is one thing to do: *Action, *Wait, *Until, *If, *Together, *Run,
// *Say, *Go, *Turn, *Allow, *Block (a branch inside together only).
type Statement interface{ Span() source.Span }

// Operand is a value written in a statement: a name, string, number or
// duration, as its token says. Text is the name, the string without quotes
// and escapes, or the number or duration as written.
type Operand struct {
	Kind TokenKind // Word, String, Number, Duration, Clock; Bad when missing
	Text string
	At   source.Span
}

// Action is a verb of the table with its operands: Operands[i] are what
// stands in the verb's slot i (several where the slot takes a list; none
// where an optional part is not said). Words[i] is the word chosen where slot
// i is a choice of words.
type Action struct {
	At       source.Span
	Verb     *Verb
	VerbAt   source.Span
	Operands [][]Operand
	Words    []string
}

// Wait is wait DURATION.
type Wait struct {
	At   source.Span
	Time Operand
}

// Until is `wait until COND [within T [else OTHERWISE]]` and
// `expect COND [within T] else OTHERWISE`.
type Until struct {
	At     source.Span
	Expect bool
	Cond   *Cond
	Within Operand // Kind Bad when not said
	Else   *Block  // nil when not said; `else alert "x"` is a block of one statement
}

// If is if COND { } [else { } | else if …].
type If struct {
	At   source.Span
	Cond *Cond
	Then *Block
	Else *Block // `else if` is a block that holds one *If
}

// Together runs its statements side by side and ends when all have ended.
type Together struct {
	At   source.Span
	Body *Block
}

// Run starts a macro and goes on when it has ended, or fires a salvo.
type Run struct {
	At   source.Span
	Name Name
	Args []Arg
}

// Arg is one argument: item: "goal-1".
type Arg struct {
	Name  Name
	Value Operand
}

// Say is alert "…", note "…" or abandon ["…"]. The text may be the name of a
// macro's parameter; its kind is Bad where there is none.
type Say struct {
	At   source.Span
	Verb string
	Text Operand
}

// Go fires the cue on standby, or the one named.
type Go struct {
	At  source.Span
	Cue Name
}

// Turn turns a surface to a page: page desk to cameras.
type Turn struct {
	At            source.Span
	Surface, Page Name
}

// Span gives the place of the whole node.
func (n *Macro) Span() source.Span     { return n.At }
func (n *Salvo) Span() source.Span     { return n.At }
func (n *Page) Span() source.Span      { return n.At }
func (n *Button) Span() source.Span    { return n.At }
func (n *Rundown) Span() source.Span   { return n.At }
func (n *Cue) Span() source.Span       { return n.At }
func (n *Rule) Span() source.Span      { return n.At }
func (n *Rehearsal) Span() source.Span { return n.At }
func (n *Step) Span() source.Span      { return n.At }
func (n *Allow) Span() source.Span     { return n.At }
func (n *Block) Span() source.Span     { return n.At }
func (n *Action) Span() source.Span    { return n.At }
func (n *Wait) Span() source.Span      { return n.At }
func (n *Until) Span() source.Span     { return n.At }
func (n *If) Span() source.Span        { return n.At }
func (n *Together) Span() source.Span  { return n.At }
func (n *Run) Span() source.Span       { return n.At }
func (n *Say) Span() source.Span       { return n.At }
func (n *Go) Span() source.Span        { return n.At }
func (n *Turn) Span() source.Span      { return n.At }
