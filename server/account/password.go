package account

import (
	"context"
	"fmt"
	"time"

	"thudbook/sync/problem"
	"thudbook/sync/secret"
)

// hashesAtOnce bounds the memory that password checks take.
const hashesAtOnce = 2

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
	return secret.Hash(password), nil
}

func (s *Store) match(ctx context.Context, hash, password string) (bool, error) {
	done, err := s.turn(ctx)
	if err != nil {
		return false, err
	}
	defer done()
	return secret.Match(hash, password)
}

func nameLimits() secret.Limits {
	return secret.Limits{Tries: "passwords", What: "this name", Free: 5, First: 10 * time.Second, Most: 10 * time.Minute}
}

// addressLimits are wider: a whole building may share one address.
func addressLimits() secret.Limits {
	return secret.Limits{Tries: "passwords", What: "your address", Free: 50, First: 10 * time.Second, Most: 10 * time.Minute}
}
