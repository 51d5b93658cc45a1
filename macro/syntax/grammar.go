package syntax

import _ "embed"

// Grammar is the language's grammar as people read it. A test holds it against
// the parser.
//
//go:embed grammar.ebnf
var Grammar string
