package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cuewright/targets/prepare"
	"cuewright/targets/systemd"
)

func newInstallUnit(s streams) *cobra.Command {
	u := unitFlags{run: newRunFlags()}
	c := &cobra.Command{
		Use:   "install-unit SHOW|PROGRAM",
		Short: "Write the systemd unit that runs a show on a board",
		Long: `Write the unit file of a systemd service that runs a show, with the flags of "run" that
are given here. It writes one file and says what to do next: it starts nothing, and it
changes nothing that runs. The service has a user of its own, may write to ` + systemd.State + `
and nowhere else, and has no devices but those of --midi, --keys and --timecode. It is started again
when it fails or hangs; the show is then held until somebody resumes.

Files with codes and keys (--token-file, --tls-cert, --tls-key) are read by systemd, so only
root needs to be able to. Credentials of devices go into ` + systemd.Environment + `, NAME=VALUE.

` + caution + `

` + exitHelp,
		Example: `  sudo cuewright install-unit /etc/cuewright/final.show --http 0.0.0.0:8080 --token-file /etc/cuewright/code
  cuewright install-unit /etc/cuewright/final.show --osc 127.0.0.1:9000 --print
  cuewright install-unit /etc/cuewright/final.show --root image`,
		Args: need("the show that the service runs", 1, 1),
		RunE: func(c *cobra.Command, args []string) error { return u.install(s, args[0], c.Flags()) },
	}
	u.run.add(c.Flags())
	_ = c.Flags().MarkHidden("state") // the unit says where
	c.Flags().StringVar(&u.root, "root", "", "write into the system below `DIR`; the paths given are those within it")
	c.Flags().BoolVar(&u.print, "print", false, "print the unit, write nothing")
	return c
}

// unitFlags are the flags of install-unit.
type unitFlags struct {
	run   *runFlags
	root  string
	print bool
}

// credentials are the flags whose files the service gets from systemd.
var credentials = map[string]string{"token-file": "token", "tls-cert": "certificate", "tls-key": "key"}

// ourFlags are not the run's.
var ourFlags = []string{"root", "print"}

func (u *unitFlags) install(s streams, show string, flags *pflag.FlagSet) error {
	unit := systemd.Unit{Show: filepath.Clean(show), Program: "/usr/bin/cuewright"}
	switch {
	case u.run.state != "":
		return &mistake{word: "--state", what: "a service keeps its state in " + systemd.State, mend: "leave --state out"}
	case !filepath.IsAbs(show):
		return &mistake{word: show, what: "a service needs the whole path of its show", mend: "write " + absolute(show)}
	}
	if u.root == "" {
		var err error
		if unit.Program, err = os.Executable(); err != nil {
			return err
		}
	}
	if err := u.args(&unit, flags); err != nil {
		return err
	}
	if err := u.reachable(s, show); err != nil {
		return err
	}
	if u.print {
		_, err := s.out.Write([]byte(unit.Text()))
		return err
	}
	return u.write(s, &unit)
}

func absolute(path string) string {
	if whole, err := filepath.Abs(path); err == nil {
		return whole
	}
	return "/etc/cuewright/" + filepath.Base(path)
}

// reachable says whether the service could read the show, and whether the show
// can be run with these flags.
func (u *unitFlags) reachable(s streams, show string) error {
	for _, hidden := range []string{"/home", "/root", "/run/user", "/tmp", "/var/tmp", "/dev"} {
		if strings.HasPrefix(filepath.Clean(show), hidden+"/") {
			return &mistake{word: show, what: "the service sees nothing of " + hidden, mend: "put the show and its plan into /etc/cuewright"}
		}
	}
	r, err := load(s, filepath.Join(u.root, show), false)
	if err != nil {
		return err
	}
	if err := u.run.check(r.Program); err != nil {
		return err
	}
	return allReadable(filesOf(r, filepath.Join(u.root, show)), u.root)
}

// allReadable says whether everybody may read a show's files: the service's
// user is nobody in particular.
func allReadable(names []string, root string) error {
	for _, name := range names {
		need := fs.FileMode(0o004)
		for at := name; at != filepath.Clean(root) && at != "."; at = filepath.Dir(at) {
			if info, err := os.Stat(at); err == nil && info.Mode().Perm()&need == 0 {
				return &mistake{word: name, what: fmt.Sprintf("the service may not read `%s`: it has a user of its own", at), mend: "chmod o+rX " + at}
			}
			if need = 0o001; at == filepath.Dir(at) {
				break
			}
		}
	}
	return nil
}

// filesOf are the files of a show: the show and its plan, or the compiled one.
func filesOf(r prepare.Result, path string) []string {
	names := []string{path}
	if r.Plan != nil && r.Plan.Name != path {
		names = append(names, r.Plan.Name)
	}
	return names
}

// args gives a unit the flags of run that were given, with the files that
// systemd hands over under their new names.
func (u *unitFlags) args(unit *systemd.Unit, flags *pflag.FlagSet) (err error) {
	flags.Visit(func(f *pflag.Flag) {
		if err != nil || slices.Contains(ourFlags, f.Name) {
			return
		}
		values := []string{f.Value.String()}
		if many, ok := f.Value.(pflag.SliceValue); ok {
			values = many.GetSlice()
		}
		for _, value := range values {
			var word string
			if word, err = u.arg(unit, f, value); err != nil {
				return
			}
			unit.Args = append(unit.Args, word)
		}
	})
	return err
}

func (u *unitFlags) arg(unit *systemd.Unit, f *pflag.Flag, value string) (string, error) {
	if name, ok := credentials[f.Name]; ok {
		if !filepath.IsAbs(value) {
			return "", &mistake{word: value, what: "a service needs the whole path of `" + value + "`", mend: "write " + absolute(value)}
		}
		unit.Credentials = append(unit.Credentials, systemd.Credential{Name: name, File: value})
		if given, ok := f.Value.(*once); ok { // where the file is now, for the check of the flags
			_ = given.Value.Set(filepath.Join(u.root, value)) // any text will do
		}
		return "--" + f.Name + "=" + systemd.InCredentials(name), nil
	}
	switch f.Name {
	case "midi", "keys":
		if _, file, _ := strings.Cut(value, "="); !filepath.IsAbs(file) {
			return "", &mistake{word: value, what: "a service needs the whole path of `" + file + "`"}
		}
		unit.MIDI, unit.Keys = unit.MIDI || f.Name == "midi", unit.Keys || f.Name == "keys"
	case "timecode":
		if !filepath.IsAbs(value) {
			return "", &mistake{word: value, what: "a service needs the whole path of `" + value + "`"}
		}
		unit.MIDI = true
	case "http", "osc", "osc-tcp", "osc-slip":
		if _, port, _ := cutLast(value, ":"); isLow(port) {
			return "", &mistake{word: value, what: "the service has no privileges, and may not listen at port " + port, mend: "take a port from 1024 on"}
		}
	}
	return "--" + f.Name + "=" + systemd.Quote(value), nil
}

func cutLast(text, at string) (before, after string, found bool) {
	i := strings.LastIndex(text, at)
	if i < 0 {
		return text, "", false
	}
	return text[:i], text[i+len(at):], true
}

// isLow says whether a port is one that only the privileged may listen at.
func isLow(port string) bool {
	n, err := strconv.Atoi(port)
	return err == nil && n > 0 && n < 1024
}

// write puts the unit into its place, whole or not at all, and says what to do
// next.
func (u *unitFlags) write(s streams, unit *systemd.Unit) error {
	at := filepath.Join(u.root, systemd.Path)
	if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
		return &mistake{word: u.root, what: fmt.Sprintf("`%s` cannot be written: %s", at, reason(err)), mend: "run it as root, or with --print"}
	}
	if err := writeFile(at, []byte(unit.Text())); err != nil {
		return &mistake{word: u.root, what: fmt.Sprintf("`%s` cannot be written: %s", at, reason(err)), mend: "run it as root, or with --print"}
	}
	_, err := fmt.Fprintf(s.out, `wrote %s; nothing was started. Next, as root:
  systemctl daemon-reload
  systemctl enable --now %s     starts the show, now and when the board starts
  systemctl status %s           what systemd says of it
  cuewright status --state %s
After a change of the show: systemctl reload %s
`, at, systemd.Name, systemd.Name, systemd.State, systemd.Name)
	return err
}
