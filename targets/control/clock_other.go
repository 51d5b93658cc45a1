//go:build !linux

package control

func (c *monotonic) alarm() (alarm, error) { return newTimerAlarm(c), nil }
