//go:build !linux

package keys

import (
	"errors"
	"os"
)

// grab: only Linux has event devices.
func grab(*os.File) error { return errors.ErrUnsupported }
