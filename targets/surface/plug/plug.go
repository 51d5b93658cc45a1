// Package plug follows a device file that people plug in and pull out: it is
// opened whenever it is there. A plain file is a recording: it is read once.
// Surface is a surface behind such a file; what its bytes mean is a Protocol's
// to say.
package plug

import (
	"context"
	"log/slog"
	"os"
	"syscall"
	"time"
)

// again is how long it waits before it looks for the device anew.
const again = time.Second

// Stdin is the path that stands for standard input.
const Stdin = "-"

// Device is an open file. Lamps says that it can be written to.
type Device struct {
	*os.File
	Lamps    bool
	presence *Presence
}

// Follow notes in here whether the device is there, and calls use with the open
// file each time it can be opened, until ctx ends, or the file was a plain one
// or standard input and use has returned. use must return soon after its ctx
// ends, which ends a Read that waits, and leaves no goroutine behind; the file
// is closed after that.
func Follow(ctx context.Context, path string, log *slog.Logger, here *Presence, use func(context.Context, Device)) {
	for missed := false; ctx.Err() == nil; {
		d, err := open(path)
		if err == nil {
			log.Info("a device is there", "file", path)
			missed = false
			once := plain(d.File)
			inner, cancel := context.WithCancel(ctx)
			stop := context.AfterFunc(inner, d.endRead)
			d.presence = here
			here.there.Store(true)
			here.noticed()
			use(inner, d)
			here.there.Store(false)
			cancel()
			stop()
			_ = d.Close() // endRead may have closed it already
			if once {
				log.Info("a device has ended", "file", path)
				return
			}
			log.Warn("a device is gone", "file", path)
		} else if !missed {
			log.Warn("a device is not there; it is looked for every second", "file", path, "why", err)
			missed = true
		}
		select {
		case <-ctx.Done():
		case <-time.After(again):
		}
	}
}

// endRead ends a Read that waits, and leaves what can be written to open where
// the system can do that.
func (d Device) endRead() {
	if d.SetReadDeadline(time.Now()) != nil {
		_ = d.Close()
	}
}

// writeWithin is how long a device that does not take its lamps is waited for.
const writeWithin = time.Second

func (d Device) send(lamps []byte) error {
	if len(lamps) == 0 {
		return nil
	}
	_ = d.SetWriteDeadline(time.Now().Add(writeWithin)) // some files cannot be waited for
	_, err := d.Write(lamps)
	return err
}

// open opens for reading and writing, or for reading where that is all there
// is. Files that can be waited for are opened so that a Read can be ended. A
// named pipe is open for writing too, so that it does not end with whoever
// writes to it; it has no lamps, since they would come back as presses.
func open(path string) (Device, error) {
	if path == Stdin {
		return Device{File: os.Stdin}, nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return Device{}, err
	}
	if info.Mode().IsRegular() {
		f, err := os.Open(path)
		return Device{File: f}, err
	}
	if f, err := os.OpenFile(path, os.O_RDWR|syscall.O_NONBLOCK, 0); err == nil {
		return Device{File: f, Lamps: info.Mode()&os.ModeNamedPipe == 0}, nil
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	return Device{File: f}, err
}

// plain says whether a file ends for good when it has ended.
func plain(f *os.File) bool {
	info, err := f.Stat()
	return f == os.Stdin || err == nil && info.Mode().IsRegular()
}

// Read gives what is read from d to hear until that ends. Of standard input a
// Read cannot be ended: it is left behind, and what comes late is not heard.
func (d Device) Read(ctx context.Context, hear func([]byte)) {
	if d.File != os.Stdin {
		d.read(ctx, hear)
		return
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		d.read(ctx, hear)
	}()
	select {
	case <-ctx.Done():
	case <-done:
	}
}

func (d Device) read(ctx context.Context, hear func([]byte)) {
	buf := make([]byte, 1024)
	for {
		n, err := d.File.Read(buf)
		if ctx.Err() != nil {
			return
		}
		if n > 0 {
			d.presence.noticed()
		}
		hear(buf[:n])
		if err != nil {
			return
		}
	}
}
