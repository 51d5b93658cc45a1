package plan

import (
	"bytes"
	"strings"

	"gopkg.in/yaml.v3"

	"cuewright/macro/diag"
)

// Bounds of the search for faults, so that a file of nothing but faults takes
// no longer than a few readings.
const (
	maxFaults     = 20
	maxFaultLines = 100
	maxFaultBytes = 16 << 10
)

// chunk is a part of the file that can be read on its own: a line at the left
// margin, or one entry of a section. Start and end are bytes.
type chunk struct{ start, end int }

// salvage reads what it can of a file that is not YAML. The YAML reader stops
// at its first fault and often points at the wrong line, so each entry is
// read alone; those with a fault are reported and blanked out, and the rest
// is read again.
func (r *reader) salvage(text []byte) *yaml.Node {
	chunks := chunksOf(text)
	clean := bytes.Clone(text)
	faults := 0
	for _, c := range chunks {
		if _, err := decode(text[c.start:c.end]); err == nil {
			continue
		}
		if faults++; faults <= maxFaults {
			r.fault(text, c)
		}
		r.lostIn(text[c.start:c.end])
		entries := c.start
		if head := firstLine(text[c.start:c.end]); opensSection(head) {
			entries += len(head) // what follows still belongs to the section
		}
		blank(clean[entries:c.end])
	}
	doc, err := decode(clean)
	if err == nil {
		return doc
	}
	// The entries are right one by one, but do not fit together: read up to
	// the first that does not fit.
	good, bad := 0, len(chunks)
	for bad-good > 1 {
		middle := (good + bad) / 2
		if _, err := decode(clean[:chunks[middle-1].end]); err == nil {
			good = middle
		} else {
			bad = middle
		}
	}
	if bad <= len(chunks) && bad > 0 {
		c := chunks[bad-1]
		_, err := decode(clean[:c.end])
		r.misfit(text, c.start, c.end, "this does not fit what stands before it: "+inWords(err, firstLine(text[c.start:c.end])))
	}
	if good > 0 {
		doc, _ = decode(clean[:chunks[good-1].end])
	}
	return doc
}

// lostIn remembers what the lines of a part seem to name.
func (r *reader) lostIn(part []byte) {
	for line := range bytes.Lines(part) {
		if name, _, found := bytes.Cut(bytes.TrimLeft(line, " \t"), []byte(":")); found && wordy(string(name)) {
			r.lost(string(name))
		}
	}
	r.loose = r.loose || bytes.Contains(part, []byte("to:"))
}

// fault reports the line of a chunk from which on it cannot be read: the one
// after the longest beginning that can.
func (r *reader) fault(text []byte, c chunk) {
	whole := text[c.start:c.end]
	_, err := decode(whole)
	starts := lineStarts(whole)
	good := 0
	if len(starts) <= maxFaultLines && len(whole) <= maxFaultBytes {
		for i := len(starts) - 1; i > 0 && good == 0; i-- {
			if _, err := decode(whole[:starts[i]]); err == nil {
				good = starts[i]
			}
		}
	}
	at := c.start + good
	for at < c.end && blankOrComment(firstLine(text[at:c.end])) {
		at = min(at+len(firstLine(text[at:c.end]))+1, c.end)
	}
	r.misfit(text, at, c.end, inWords(err, firstLine(text[at:c.end])))
}

// misfit reports the first line from start.
func (r *reader) misfit(text []byte, start, end int, what string) {
	line := firstLine(text[start:end])
	body := strings.TrimLeft(line, " \t")
	body = strings.TrimRight(body, " \t\r")
	from := start + len(line) - len(strings.TrimLeft(line, " \t"))
	r.lose(diag.New("yaml-fault", r.src.At(from, from+len(body)), "%s", what))
}

// inWords says what the YAML reader found, in words for the line it is about.
func inWords(err error, line string) string {
	body := strings.TrimLeft(line, " ")
	says := ""
	if err != nil {
		says = err.Error()
	}
	switch {
	case strings.HasPrefix(body, "\t"):
		return "the line is indented with a tab; YAML wants spaces"
	case strings.Contains(says, "did not find expected ',' or"):
		return "a bracket is not closed, or a comma is missing"
	case strings.Contains(says, "unexpected end of stream"), strings.Contains(says, "document indicator"):
		return "a quote is not closed"
	case strings.Contains(says, "cannot start any token"):
		return "a text that begins with a sign such as @, ` or % wants quotes"
	case strings.Contains(says, "mapping values are not allowed"):
		return "there is one `: ` too many here, or one too few in the line before"
	case strings.Contains(says, "could not find expected ':'"):
		return "a `:` is missing"
	case strings.Contains(says, "did not find expected key"), strings.Contains(says, "did not find expected '-' indicator"):
		return "the line is indented otherwise than its neighbours, or a text wants quotes"
	case strings.Contains(says, "unknown anchor"):
		return "this stands for something that is written nowhere"
	case strings.Contains(says, "escape"):
		return "there is a `\\` in quotes that means nothing; write `\\\\`, or use single quotes"
	}
	return "the YAML cannot be read from here on"
}

// chunksOf cuts a file. A section whose first line goes on after its name is
// one chunk, since its entries may be held by a bracket.
func chunksOf(text []byte) []chunk {
	var chunks []chunk
	entry, joined := -1, false // the indent of this section's entries; whether the section is one chunk
	for start := 0; start < len(text); {
		end := start + len(firstLine(text[start:])) + 1
		end = min(end, len(text))
		line := firstLine(text[start:end])
		body := strings.TrimLeft(line, " ")
		indent := len(line) - len(body)
		closes := strings.HasPrefix(body, "}") || strings.HasPrefix(body, "]")
		switch {
		case len(chunks) > 0 && (blankOrComment(line) || closes):
			chunks[len(chunks)-1].end = end
		case indent == 0 && !strings.HasPrefix(body, "\t"):
			chunks = append(chunks, chunk{start, end})
			entry, joined = -1, !opensSection(body)
		case len(chunks) == 0:
			chunks = append(chunks, chunk{start, end})
		case !joined && (entry < 0 || indent == entry) && !strings.HasPrefix(body, "\t"):
			entry = indent
			chunks = append(chunks, chunk{start, end})
		default:
			chunks[len(chunks)-1].end = end
		}
		start = end
	}
	return chunks
}

// opensSection says that a line at the margin is `word:` and nothing more, so
// that entries follow.
func opensSection(line string) bool {
	word, rest, found := strings.Cut(line, ":")
	return found && !strings.ContainsAny(word, " \t\"'{[") && blankOrComment(rest)
}

func blankOrComment(line string) bool {
	line = strings.TrimSpace(line)
	return line == "" || strings.HasPrefix(line, "#")
}

// firstLine is text up to its first line end.
func firstLine(text []byte) string {
	if i := bytes.IndexByte(text, '\n'); i >= 0 {
		return string(text[:i])
	}
	return string(text)
}

// blank makes everything but line ends a space, so that all places stay.
func blank(text []byte) {
	for i := 0; i < len(text); {
		if size := lineBreak(text[i:]); size > 0 {
			i += size
			continue
		}
		text[i] = ' '
		i++
	}
}
