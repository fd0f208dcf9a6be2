package view

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Seen names the state of some edited fields that a person saw, so that a form
// that was filled in before somebody else changed them can be told.
func (h *Head) Seen(fields ...string) string {
	sum := sha256.New()
	for _, name := range fields {
		fmt.Fprintf(sum, "%q %v\n", name, h.Base(name))
	}
	return hex.EncodeToString(sum.Sum(nil)[:12])
}
