package osc

import "strings"

// IsPattern says whether path holds characters that make it a pattern.
func IsPattern(path string) bool { return strings.ContainsAny(path, "?*[{") }

// Match says whether an OSC 1.0 address pattern matches an address. Both are
// split at each slash, must have equally many parts, and part matches part:
//
//	?        any one character
//	*        any characters, none too
//	[a-dx]   one of these; a minus at the end stands for itself
//	[!a-d]   one that is none of these; a ! elsewhere stands for itself
//	{ab,cd}  one of these texts, in which nothing is special
//
// A bracket or brace that does not end in its part, and a range that runs
// backwards, match nothing (OSC 1.0 does not say). The // of OSC 1.1 is not
// known. The time is at most the product of the two lengths.
func Match(pattern, address string) bool {
	if pattern == "" || pattern[0] != '/' || address == "" || address[0] != '/' {
		return false
	}
	pattern, address = pattern[1:], address[1:]
	for {
		p, restP, moreP := strings.Cut(pattern, "/")
		a, restA, moreA := strings.Cut(address, "/")
		if moreP != moreA || !matchPart(p, a) {
			return false
		}
		if !moreP {
			return true
		}
		pattern, address = restP, restA
	}
}

// matchPart follows all ways through the pattern at once: at[i] says that the
// pattern so far matches the first i characters of name.
func matchPart(pattern, name string) bool {
	var space [2][128]bool
	at, next := space[0][:], space[1][:]
	if len(name) >= len(at) {
		at, next = make([]bool, len(name)+1), make([]bool, len(name)+1)
	}
	at, next = at[:len(name)+1], next[:len(name)+1]
	at[0] = true
	for pattern != "" {
		clear(next)
		var ok bool
		if pattern, ok = advance(pattern, name, at, next); !ok {
			return false
		}
		at, next = next, at
	}
	return at[len(name)]
}

// advance takes one element off the pattern and sets in next where it can end
// when it begins where at says. It is false when the element is not whole or
// can end nowhere.
func advance(pattern, name string, at, next []bool) (rest string, some bool) {
	switch pattern[0] {
	case '*':
		for i, here := range at {
			some = some || here
			next[i] = some
		}
		return pattern[1:], some
	case '{':
		list, rest, whole := strings.Cut(pattern[1:], "}")
		if !whole {
			return "", false
		}
		for more := true; more; {
			var word string
			word, list, more = strings.Cut(list, ",")
			for i, here := range at {
				if here && strings.HasPrefix(name[i:], word) {
					next[i+len(word)] = true
					some = true
				}
			}
		}
		return rest, some
	}
	set, rest, whole := oneOf(pattern)
	if !whole {
		return "", false
	}
	for i := 0; i < len(name); i++ {
		if at[i] && set.has(name[i]) {
			next[i+1] = true
			some = true
		}
	}
	return rest, some
}

// characters is a set of bytes.
type characters [4]uint64

func (s *characters) add(c byte)      { s[c>>6] |= 1 << (c & 63) }
func (s *characters) has(c byte) bool { return s[c>>6]>>(c&63)&1 == 1 }

// oneOf is the set of characters that the pattern's first element stands for:
// a bracket, a ? or a character.
func oneOf(pattern string) (set characters, rest string, whole bool) {
	switch pattern[0] {
	case '?':
		for i := range set {
			set[i] = ^uint64(0)
		}
		return set, pattern[1:], true
	case '[':
	default:
		set.add(pattern[0])
		return set, pattern[1:], true
	}
	list, rest, whole := strings.Cut(pattern[1:], "]")
	negated := strings.HasPrefix(list, "!")
	if negated {
		list = list[1:]
	}
	for i := 0; i < len(list); i++ {
		if i+2 < len(list) && list[i+1] == '-' {
			for c := int(list[i]); c <= int(list[i+2]); c++ {
				set.add(byte(c))
			}
			i += 2
			continue
		}
		set.add(list[i])
	}
	if negated {
		for i := range set {
			set[i] = ^set[i]
		}
	}
	return set, rest, whole
}
