package account

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"thudbook/sync/durable"
)

// FirstLogin is the sign-in name of the administrator made at the first start.
const FirstLogin = "admin"

// First makes an administrator with a random password when the server has no
// account yet, and gives that password; otherwise it gives "". The password is
// durable in the file of the options before the account is there, and the file
// goes when that administrator's password is replaced.
func (s *Store) First(ctx context.Context) (password string, err error) {
	if any, err := s.Any(ctx); err != nil || any {
		return "", err
	}
	password = rand.Text()
	if s.firstFile != "" {
		if err := durable.Replace(s.firstFile, []byte(password+"\n")); err != nil {
			return "", fmt.Errorf("keep the first password: %w", err)
		}
	}
	_, err = s.Create(ctx, Draft{Login: FirstLogin, Name: "Administrator", Password: password, Administrator: true}, "first start")
	if err != nil {
		return "", fmt.Errorf("make the first administrator: %w", err)
	}
	return password, nil
}

// forgetFirst removes the file of the first password once it is of no use.
func (s *Store) forgetFirst(login string) error {
	if s.firstFile == "" || login != FirstLogin {
		return nil
	}
	if err := os.Remove(s.firstFile); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the password is set, but the file with the first one stays: %w", err)
	}
	return nil
}
