package status

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"syscall"
	"time"
)

// askWithin is how long an answer may take.
const askWithin = 3 * time.Second

// maxReport is the most that is read of an answer, in bytes.
const maxReport = 4 << 20

// AskSocket asks the controller that keeps its state in dir.
func AskSocket(ctx context.Context, dir string) (Report, error) {
	folder, err := os.Open(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return Report{}, errNobody
	}
	if err != nil {
		return Report{}, err
	}
	defer folder.Close()
	path := reachable(folder, socketName)
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "unix", path)
	}
	return ask(ctx, &http.Transport{DialContext: dial}, "http://socket"+reportPath, "")
}

// AskHTTP asks the controller whose page for tablets is at base, as
// http://192.0.2.7:8080. token is the pairing code, "" where none is needed.
func AskHTTP(ctx context.Context, base, token string) (Report, error) {
	u, err := url.Parse(base)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.RawQuery != "" {
		return Report{}, fmt.Errorf("`%s` is not http://host:port", base)
	}
	return ask(ctx, &http.Transport{}, u.JoinPath(reportPath).String(), token)
}

var errNobody = errors.New("no controller runs there")

func ask(ctx context.Context, way *http.Transport, at, token string) (Report, error) {
	defer way.CloseIdleConnections()
	ctx, cancel := context.WithTimeout(ctx, askWithin)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, at, nil)
	if err != nil {
		return Report{}, err
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	// A redirect would take the token elsewhere.
	client := http.Client{Transport: way, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	if err != nil {
		var u *url.Error
		if errors.As(err, &u) {
			err = u.Err
		}
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ECONNREFUSED) {
			return Report{}, errNobody
		}
		return Report{}, fmt.Errorf("no controller answers: %w", err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(io.LimitReader(answer.Body, maxReport+1))
	switch {
	case err != nil:
		return Report{}, fmt.Errorf("the answer broke off: %w", err)
	case answer.StatusCode == http.StatusUnauthorized:
		return Report{}, errors.New("the controller wants its pairing code")
	case answer.StatusCode != http.StatusOK:
		line, _, _ := strings.Cut(string(text[:min(len(text), 200)]), "\n")
		return Report{}, fmt.Errorf("it answered %d %q", answer.StatusCode, line)
	}
	var report Report
	if len(text) > maxReport || json.Unmarshal(text, &report) != nil || report.Show == "" {
		return Report{}, errors.New("what answers is no controller")
	}
	return report, nil
}
