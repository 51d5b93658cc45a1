package osc

import (
	"fmt"
	"time"
)

// TimeTag is an NTP time (RFC 5905 section 6): 32 bits of seconds since
// 1900-01-01 00:00 UTC modulo 2^32, and 32 bits of fraction. The seconds wrap
// at 2036-02-07 06:28:16 UTC, so tags are compared modulo 2^32 and turned into
// a time near another one.
type TimeTag uint64

// Immediately is the tag that means "at once".
const Immediately TimeTag = 1

// unixEpoch is 1970-01-01 in NTP seconds (RFC 5905 section 6).
const unixEpoch = 2_208_988_800

// TimeTagOf is the tag of t, to the nearest 2^-32 s (232.8 ps).
func TimeTagOf(t time.Time) TimeTag {
	seconds := uint32(t.Unix() + unixEpoch)
	fraction := (uint64(t.Nanosecond())<<32 + 500_000_000) / 1_000_000_000
	return TimeTag(uint64(seconds)<<32 | fraction)
}

// Time is t as a time, to the nearest nanosecond, in the era that puts it
// within 68 years of near. Immediately is near itself.
func (t TimeTag) Time(near time.Time) time.Time {
	if t == Immediately {
		return near
	}
	nearSeconds := near.Unix() + unixEpoch
	away := int32(uint32(t>>32) - uint32(nearSeconds))
	nanos := (uint64(uint32(t))*1_000_000_000 + 1<<31) >> 32
	return time.Unix(nearSeconds-unixEpoch+int64(away), int64(nanos))
}

// Before says whether t is earlier than u, when they are less than 68 years
// apart. Immediately is before every other tag.
func (t TimeTag) Before(u TimeTag) bool {
	if t == Immediately || u == Immediately {
		return t == Immediately && u != Immediately
	}
	return int64(t-u) < 0
}

// String is the tag in hexadecimal, seconds and fraction, or "immediately".
func (t TimeTag) String() string {
	if t == Immediately {
		return "immediately"
	}
	return fmt.Sprintf("%08x.%08x", uint32(t>>32), uint32(t))
}
