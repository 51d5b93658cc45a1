package systemd

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// exposure is the most that `systemd-analyze security` may find, in tenths of
// its scale from 0 (safest) to 10: it calls up to 1.9 SAFE and up to 4.9 OK. What
// is left is mostly that the service talks to the network, which is its work.
const exposure = 19

var units = map[string]Unit{
	"plain":   {Program: "/usr/bin/cuewright", Show: "/etc/cuewright/final.show"},
	"devices": {Program: "/usr/bin/cuewright", Show: "/etc/cuewright/final.show", Args: []string{"--midi=desk=/dev/snd/midiC1D0"}, MIDI: true, Keys: true},
	"code": {Program: "/usr/bin/cuewright", Show: "/etc/cuewright/final.show", Args: []string{"--http=0.0.0.0:8080", "--token-file=" + InCredentials("token")},
		Credentials: []Credential{{"token", "/etc/cuewright/code of 100%"}}},
	"odd names": {Program: "/usr/bin/cuewright", Show: `/etc/cuewright/the "final" of 50% $HOME\day;.show`},
}

// analyze is what systemd-analyze says of a unit file.
func analyze(t *testing.T, u Unit, args ...string) string {
	t.Helper()
	program, err := exec.LookPath("systemd-analyze")
	if errors.Is(err, exec.ErrNotFound) {
		if os.Getenv("CUEWRIGHT_PEERS") != "" {
			t.Fatal("systemd-analyze is not there")
		}
		t.Skip("systemd-analyze is not there")
	}
	if u.Program, err = os.Executable(); err != nil { // it is looked for
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), Name)
	if err := os.WriteFile(file, []byte(u.Text()), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(program, append(args, file)...).CombinedOutput()
	if err != nil {
		t.Errorf("%v\n%s\n%s", err, out, u.Text())
	}
	return string(out)
}

// TestVerify: systemd itself reads the unit and has nothing to say about it.
func TestVerify(t *testing.T) {
	for name, u := range units {
		t.Run(name, func(t *testing.T) {
			if out := analyze(t, u, "verify", "--man=no", "--recursive-errors=no"); out != "" {
				t.Errorf("%s\n%s", out, u.Text())
			}
		})
	}
}

// TestSecurity: systemd finds no more exposure than the bound.
func TestSecurity(t *testing.T) {
	for name, u := range units {
		t.Run(name, func(t *testing.T) {
			out := analyze(t, u, "security", "--offline=true", "--no-pager", fmt.Sprintf("--threshold=%d", exposure))
			for line := range strings.Lines(out) {
				if strings.Contains(line, "Overall exposure") {
					t.Log(strings.TrimSpace(line))
					return
				}
			}
			t.Errorf("no exposure is told:\n%s", out)
		})
	}
}

// TestVerifyCatches: a directive that systemd does not know is found, so
// TestVerify can fail; and the name of a program that is not there comes out of
// the file as it went in, so it is quoted as systemd reads it.
func TestVerifyCatches(t *testing.T) {
	program, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not there")
	}
	const odd = "/nowhere/the final of 50% and 100%S"
	u := Unit{Program: odd, Show: "/etc/cuewright/final.show"}
	text := strings.Replace(u.Text(), "NoNewPrivileges=", "NoNewPriviliges=", 1)
	file := filepath.Join(t.TempDir(), Name)
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(program, "verify", "--man=no", file).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "NoNewPriviliges") || !strings.Contains(string(out), "Command "+odd+" is not executable") {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestQuote: what has a meaning to systemd loses it; what has none stays legible.
func TestQuote(t *testing.T) {
	for text, want := range map[string]string{
		"plain/path-1.show": "plain/path-1.show",
		"":                  `""`,
		"a b":               `"a b"`,
		"50%":               "50%%",
		"$HOME":             "$$HOME",
		`a"b'c\d`:           `"a\"b'c\\d"`,
		"a;b":               `"a;b"`,
		"two\nlines":        `"two\nlines"`,
	} {
		if got := Quote(text); got != want {
			t.Errorf("%q: got %s, want %s", text, got, want)
		}
	}
}
