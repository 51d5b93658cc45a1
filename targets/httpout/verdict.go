package httpout

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"unicode"

	"cuewright/targets/wire"
)

// verdict is nil for a 2xx status, else the fault. A status that has no name
// counts as the x00 of its class, and one outside 100 to 599 as a 500 (RFC
// 9110 section 15).
func (c *Client) verdict(a Answer, location string) error {
	class := a.Status / 100
	if class < 1 || class > 5 {
		class = 5
	}
	switch {
	case class == 2:
		return nil
	case class == 3:
		what := fmt.Sprintf("%s answered %s", c.who(), statusText(a.Status, class))
		if location != "" {
			what += " and points to " + c.line(location)
		}
		return &wire.Fault{Code: "device-redirects", What: what, Status: a.Status}
	}
	what := fmt.Sprintf("%s answered %s", c.who(), statusText(a.Status, class))
	if a.Line != "" {
		what += ": " + a.Line
	}
	return &wire.Fault{Code: "device-said-no", What: what, Status: a.Status}
}

func statusText(status, class int) string {
	if text := http.StatusText(status); text != "" {
		return fmt.Sprintf("%d %s", status, text)
	}
	return fmt.Sprintf("%d, which counts as %d %s", status, class*100, http.StatusText(class*100))
}

// firstLine is the first line of a body that holds something.
func firstLine(body []byte) string {
	line, _, _ := bytes.Cut(bytes.TrimSpace(body), []byte("\n"))
	return strings.TrimSpace(string(line))
}

// maxLine is how much of a device's own words is repeated, in characters.
const maxLine = 120

// line is a text from a device as it can be shown: without credentials,
// without control characters, and short. Credentials are looked for twice:
// they may hold what cannot be shown, and may be broken up by it.
func (c *Client) line(text string) string {
	text = c.credential.scrub(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, c.credential.scrub(strings.ToValidUTF8(text, ""))))
	if r := []rune(text); len(r) > maxLine {
		return string(r[:maxLine]) + "…"
	}
	return text
}
