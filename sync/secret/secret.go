// Package secret keeps passwords and PINs as hashes, and slows guessing down.
package secret

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost of one check: argon2id after RFC 9106 with 19 MiB, two passes and one
// lane (the smallest setting that OWASP's password storage advice names, from
// memory, not confirmed against print).
const (
	argonMemoryKiB = 19 << 10
	argonPasses    = 2
	argonLanes     = 1
	argonSaltBytes = 16
	argonKeyBytes  = 32
)

// Most that a stored hash may ask for: it may come from another node.
const (
	mostMemoryKiB = 64 << 10
	mostPasses    = 8
)

// Hash gives the hash of a password or PIN in the text form of the PHC string format.
func Hash(word string) string {
	salt := make([]byte, argonSaltBytes)
	rand.Read(salt)
	key := argon2.IDKey([]byte(word), salt, argonPasses, argonMemoryKiB, argonLanes, argonKeyBytes)
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemoryKiB, argonPasses, argonLanes,
		b.EncodeToString(salt), b.EncodeToString(key))
}

var errHash = errors.New("password hash has an unknown form")

// Match reports whether the word belongs to the hash, in a time that does not
// depend on the answer.
func Match(hash, word string) (bool, error) {
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[1] != "argon2id" {
		return false, errHash
	}
	var version int
	var memory, passes uint32
	var lanes uint8
	if _, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || version != argon2.Version {
		return false, errHash
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &lanes); err != nil || lanes == 0 || passes == 0 ||
		memory > mostMemoryKiB || passes > mostPasses {
		return false, errHash
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return false, errHash
	}
	want, err := base64.RawStdEncoding.DecodeString(parts[5])
	if err != nil || len(want) == 0 {
		return false, errHash
	}
	got := argon2.IDKey([]byte(word), salt, passes, memory, lanes, uint32(len(want)))
	return subtle.ConstantTimeCompare(got, want) == 1, nil
}
