package standin_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/targets/httpout"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/standin"
)

// TestEveryMessageOfAShowIsKnown sends all that a show can send to its
// stand-ins, over the wires that the plan says, and reads in their log that
// each came through to the byte and was known.
func TestEveryMessageOfAShowIsKnown(t *testing.T) {
	for _, path := range []string{"small/small.show", "league/league.show"} {
		t.Run(path, func(t *testing.T) {
			result := prepare.Show("../../testdata/shows/"+path, prepare.Disk)
			if result.Program == nil {
				t.Fatalf("the show cannot be prepared: %v", result.Findings)
			}
			known := logOf(t, result.Program)
			for _, m := range result.Program.Messages {
				if !known[key(result.Program, m)] {
					t.Errorf("`%s` does not know %s", result.Program.Devices[m.Device].Name, m.Text)
				}
			}
			if len(known) < 10 {
				t.Errorf("only %d messages are known", len(known))
			}
		})
	}
}

// key is a message as the log has it: the first of several with the same
// bytes counts, so the words are left out.
func key(p *program.Program, m program.Message) string {
	if m.HTTP != nil {
		return fmt.Sprintf("%s %s %s", m.HTTP.Method, m.HTTP.Target, m.HTTP.Body)
	}
	return fmt.Sprintf("%x", m.OSC)
}

// logOf sends every message, and gives those that the stand-ins wrote down as
// known.
func logOf(t *testing.T, p *program.Program) map[string]bool {
	t.Helper()
	out, in := io.Pipe()
	rack, err := standin.Start(p, standin.Options{JSON: in, Hex: true, AnyPort: true})
	if err != nil {
		t.Fatal(err)
	}
	lines := make(chan string)
	go func() {
		defer close(lines)
		for l := bufio.NewScanner(out); l.Scan(); {
			lines <- l.Text()
		}
	}()
	now := rack.Program()
	go func() {
		for i := range now.Messages {
			if err := send(t, now, &now.Messages[i]); err != nil {
				t.Error(err)
			}
		}
	}()
	known := map[string]bool{}
	for heard := 0; heard < len(p.Messages); {
		var e struct{ From, Method, Target, Body, Means, Hex string }
		if err := json.Unmarshal([]byte(<-lines), &e); err != nil {
			t.Fatal(err)
		}
		if e.From == "" {
			continue // it speaks itself
		}
		heard++
		switch {
		case e.Means == "":
			t.Errorf("it came and was not known: %+v", e)
		case e.Method != "":
			known[fmt.Sprintf("%s %s %s", e.Method, e.Target, e.Body)] = true
		default:
			known[e.Hex] = true
		}
	}
	go func() {
		for range lines {
		}
	}()
	if err := rack.Close(); err != nil {
		t.Error(err)
	}
	_ = in.Close()
	return known
}

func send(t *testing.T, p *program.Program, m *program.Message) error {
	d := p.Devices[m.Device]
	if m.HTTP != nil {
		c, err := httpout.New(d, func(name string) string {
			if strings.Contains(name, "TOKEN") {
				return "token-of-the-test"
			}
			return "operator:of-the-test"
		})
		if err != nil {
			return err
		}
		defer c.Close()
		_, err = c.Send(t.Context(), m.HTTP)
		return err
	}
	s, err := osc.NewSender(osc.Config{Name: d.Name, Wire: d.Wire, Address: d.Address})
	if err != nil {
		return err
	}
	defer s.Close()
	return s.Send(t.Context(), [][]byte{m.OSC})
}
