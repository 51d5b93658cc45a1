//go:build !unix

package journal

import "errors"

// Free is not known on this system.
func Free(string) (uint64, error) { return 0, errors.ErrUnsupported }
