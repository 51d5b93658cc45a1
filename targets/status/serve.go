package status

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"cuewright/targets/metrics"
)

// The paths that a report and metrics are served at.
const (
	reportPath  = "/api/status"
	metricsPath = "/metrics"
)

// Handlers are what is served, by path.
func (s *Source) Handlers() map[string]http.Handler {
	return map[string]http.Handler{
		reportPath: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_ = json.NewEncoder(w).Encode(s.Report()) // who has gone does not need it
		}),
		metricsPath: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", metrics.ContentType)
			_, _ = w.Write(s.Metrics()) // who has gone does not need it
		}),
	}
}

// socketName is the socket in the state folder.
const socketName = "status.sock"

// Folder is a state folder that this process has for itself. A nil Folder is
// none: it serves nothing.
type Folder struct {
	lock    *os.File
	server  *http.Server // once it serves
	running sync.WaitGroup
}

// ErrTaken is that another controller has a folder.
var ErrTaken = errors.New("another controller runs on it")

// Claim makes dir, if need be, and takes it for this process, until Release or
// its end: two controllers that write one journal would spoil it. When another
// has it the error is ErrTaken; others are the disk's.
func Claim(dir string) (*Folder, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("there is no folder for the state: %w", err)
	}
	lock, err := os.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("the folder for the state cannot be used: %w", err)
	}
	if err := take(lock); err != nil {
		_ = lock.Close()
		return nil, ErrTaken
	}
	return &Folder{lock: lock}, nil
}

// listen makes a socket where a killed controller may have left its own.
func listen(path string) (net.Listener, error) {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	l, err := net.Listen("unix", path) // which is removed when it is closed
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// Serve lets people ask s at a socket in the folder. Only who may look into the
// folder and owns the socket can reach it.
func (f *Folder) Serve(s *Source) error {
	if f == nil {
		return nil
	}
	l, err := listen(reachable(f.lock, socketName))
	if err != nil {
		return fmt.Errorf("`status` cannot ask this controller by its folder: %w", err)
	}
	mux := http.NewServeMux()
	for path, h := range s.Handlers() {
		mux.Handle("GET "+path, h)
	}
	f.server = &http.Server{Handler: mux, ReadTimeout: 5 * time.Second, WriteTimeout: 5 * time.Second, MaxHeaderBytes: 4 << 10}
	f.running.Go(func() { _ = f.server.Serve(l) }) // it always ends with an error: that it was closed
	return nil
}

// Release stops serving, removes the socket and lets others have the folder.
func (f *Folder) Release() error {
	if f == nil {
		return nil
	}
	var err error
	if f.server != nil {
		soon, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if err = f.server.Shutdown(soon); err != nil {
			err = f.server.Close()
		}
		f.running.Wait()
	}
	return errors.Join(err, f.lock.Close())
}

// name is the path of a socket in a folder, for messages and where no better
// name is needed.
func name(dir *os.File, socket string) string { return filepath.Join(dir.Name(), socket) }
