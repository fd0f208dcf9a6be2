package record

import "bytes"

// ParseAny reads the general way only.
func ParseAny(raw []byte) (Record, error) { return parseAny(bytes.Clone(raw)) }

// ParseKnown tells whether the short way takes the bytes.
func ParseKnown(raw []byte) (Envelope, bool) { return parseKnown(raw) }
