package noun

import "testing"

func TestWords(t *testing.T) {
	tests := []struct {
		kind    Kind
		name, a string
	}{
		{Source, "source", "a source"},
		{Encoder, "encoder", "an encoder"},
		{Recorder | Encoder, "recorder or encoder", "a recorder or encoder"},
		{Source | Bank | Tie, "source, mix bank or tie line", "a source, mix bank or tie line"},
		{0, "nothing", "a nothing"},
	}
	for _, tt := range tests {
		if tt.kind.String() != tt.name || tt.kind.A() != tt.a {
			t.Errorf("%b is %q, %q; want %q, %q", tt.kind, tt.kind.String(), tt.kind.A(), tt.name, tt.a)
		}
	}
	if !(Deck | Source).Has(Source) || Deck.Has(Source) || (Deck | Source).One() || !Deck.One() {
		t.Error("a deck that is a source has both roles")
	}
	for word, k := range Params {
		if !k.One() {
			t.Errorf("a parameter's kind %q is one role", word)
		}
	}
	if Truth.String() != "yes or no" {
		t.Errorf("the last word is %q: the words do not match the roles", Truth)
	}
}
