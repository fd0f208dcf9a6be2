package account

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"

	"thudbook/sync/problem"
)

// Cost of one password check: argon2id after RFC 9106 with 19 MiB, two passes
// and one lane (the smallest setting that OWASP's password storage advice names,
// from memory, not confirmed against print).
const (
	argonMemoryKiB = 19 << 10
	argonPasses    = 2
	argonLanes     = 1
	argonSaltBytes = 16
	argonKeyBytes  = 32

	hashesAtOnce = 2
)

// MinPassword and MaxPassword bound a password's length in bytes.
const (
	MinPassword = 12
	MaxPassword = 256
)

// checkLength refuses a password that is too short to be kept or too long to be hashed.
func checkLength(password string) error {
	if len(password) < MinPassword {
		return at("password", problem.New(problem.Invalid, fmt.Sprintf("the password has fewer than %d characters", MinPassword), "choose a longer one; a few words do well"))
	}
	if len(password) > MaxPassword {
		return at("password", problem.New(problem.Invalid, fmt.Sprintf("the password is longer than %d bytes", MaxPassword), "choose a shorter one"))
	}
	return nil
}

// turn waits until a password may be hashed.
func (s *Store) turn(ctx context.Context) (done func(), err error) {
	select {
	case s.hashing <- struct{}{}:
		return func() { <-s.hashing }, nil
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

func (s *Store) hash(ctx context.Context, password string) (string, error) {
	done, err := s.turn(ctx)
	if err != nil {
		return "", err
	}
	defer done()
	return hashPassword(password), nil
}

func (s *Store) match(ctx context.Context, hash, password string) (bool, error) {
	done, err := s.turn(ctx)
	if err != nil {
		return false, err
	}
	defer done()
	return matchPassword(hash, password)
}

// hashPassword gives the password's hash in the text form of the PHC string format.
func hashPassword(password string) string {
	salt := make([]byte, argonSaltBytes)
	rand.Read(salt)
	key := argon2.IDKey([]byte(password), salt, argonPasses, argonMemoryKiB, argonLanes, argonKeyBytes)
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemoryKiB, argonPasses, argonLanes,
		b.EncodeToString(salt), b.EncodeToString(key))
}

var errHash = errors.New("password hash has an unknown form")

// matchPassword reports whether the password belongs to the hash, in a time that
// does not depend on the answer.
func matchPassword(hash, password string) (bool, error) {
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
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &lanes); err != nil || lanes == 0 || passes == 0 {
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
	got := argon2.IDKey([]byte(password), salt, passes, memory, lanes, uint32(len(want)))
	return subtle.ConstantTimeCompare(got, want) == 1, nil
}
