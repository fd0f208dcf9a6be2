package present

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"strings"
)

// Fingerprint is the first half of the SHA-256 of a public key, in groups that
// can be read aloud; agent and server show the same.
func Fingerprint(key ed25519.PublicKey) string {
	sum := sha256.Sum256(key)
	s := hex.EncodeToString(sum[:])
	var groups []string
	for i := 0; i < 32; i += 4 {
		groups = append(groups, s[i:i+4])
	}
	return strings.Join(groups, " ")
}
