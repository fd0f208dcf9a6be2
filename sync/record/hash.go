package record

import (
	"encoding/hex"
	"fmt"
)

// ParseHash reads 64 hexadecimal digits.
func ParseHash(s string) (Hash, error) {
	var h Hash
	err := h.UnmarshalText([]byte(s))
	return h, err
}

// MarshalText gives 64 hexadecimal digits, so that a Hash is readable in JSON.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (h *Hash) UnmarshalText(b []byte) error {
	if len(b) != hex.EncodedLen(len(h)) {
		return fmt.Errorf("a SHA-256 sum has 64 hexadecimal digits, not %d characters", len(b))
	}
	if _, err := hex.Decode(h[:], b); err != nil {
		return fmt.Errorf("a SHA-256 sum has 64 hexadecimal digits: %w", err)
	}
	return nil
}

// IsZero tells whether the hash is unset.
func (h Hash) IsZero() bool { return h == Hash{} }
