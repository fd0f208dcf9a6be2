package lab

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"
)

// Time is an instant: milliseconds since 1970-01-01 UTC. Zero means "not
// recorded". It is an integer in records and RFC 3339 text in JSON.
type Time int64

// At rounds a time down to milliseconds; the zero time stays zero.
func At(t time.Time) Time {
	if t.IsZero() {
		return 0
	}
	return Time(t.UnixMilli())
}

// Time gives the instant in UTC, the zero time when nothing was recorded.
func (t Time) Time() time.Time {
	if t == 0 {
		return time.Time{}
	}
	return time.UnixMilli(int64(t)).UTC()
}

// IsZero says that nothing was recorded.
func (t Time) IsZero() bool { return t == 0 }

// Add moves the instant.
func (t Time) Add(d time.Duration) Time { return t + Time(d.Milliseconds()) }

// DayMS is the length of a UTC day in milliseconds.
const DayMS = 24 * 60 * 60 * 1000

// Day numbers the UTC days since 1970; earlier ones are negative.
func (t Time) Day() int64 {
	d := int64(t) / DayMS
	if int64(t)%DayMS < 0 {
		d--
	}
	return d
}

// String gives RFC 3339 with milliseconds, "" for zero.
func (t Time) String() string {
	if t == 0 {
		return ""
	}
	return t.Time().Format("2006-01-02T15:04:05.000Z07:00")
}

// MarshalJSON gives RFC 3339 text, null for zero.
func (t Time) MarshalJSON() ([]byte, error) {
	if t == 0 {
		return []byte("null"), nil
	}
	return json.Marshal(t.String())
}

// UnmarshalJSON reads RFC 3339 text with a zone; null and "" are zero.
func (t *Time) UnmarshalJSON(b []byte) error {
	var s *string
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("time %s is no text", b)
	}
	if s == nil || strings.TrimSpace(*s) == "" {
		*t = 0
		return nil
	}
	p, err := time.Parse(time.RFC3339Nano, strings.TrimSpace(*s))
	if err != nil {
		return fmt.Errorf("time %q is not of the form 2026-05-04T13:20:00Z", *s)
	}
	*t = At(p)
	return nil
}

// DayStart is the first instant of a UTC day, as numbered by Day.
func DayStart(day int64) Time { return Time(day * DayMS) }
