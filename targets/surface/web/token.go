package web

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// maxTokenFile is the most that is read of a token's file, in bytes.
const maxTokenFile = 1 << 10

// ReadToken reads a token from a file that only its owner may read, or that the
// service manager guards.
func ReadToken(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return "", err
	case !info.Mode().IsRegular():
		return "", fmt.Errorf("`%s` is not a plain file", path)
	case info.Mode().Perm()&0o077 != 0 && !guarded(path):
		return "", fmt.Errorf("`%s` can be read by others: chmod 600 it", path)
	}
	text, err := io.ReadAll(io.LimitReader(f, maxTokenFile+1))
	token := strings.TrimSpace(string(text))
	switch {
	case err != nil:
		return "", err
	case len(text) > maxTokenFile:
		return "", fmt.Errorf("`%s` is too long to be a token", path)
	case token == "":
		return "", errors.New("the token's file is empty")
	}
	return token, nil
}

// guarded says whether a file is one that systemd has handed over: it lets only
// the service's user read that, by other means than the file's mode where the
// file is root's (systemd.exec(5), "Credentials").
func guarded(path string) bool {
	dir := os.Getenv("CREDENTIALS_DIRECTORY")
	return filepath.IsAbs(dir) && filepath.Dir(filepath.Clean(path)) == filepath.Clean(dir)
}
