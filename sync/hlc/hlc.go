// Package hlc is the hybrid logical clock that orders records across nodes.
// It never dates a test: for that, facts carry their own effective time.
package hlc

// Time is a stamp: 48 bits of milliseconds since 1970, 16 bits of counter.
type Time uint64
