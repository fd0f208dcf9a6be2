package account

import (
	"fmt"
	"strings"
	"unicode"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// at names the field that a problem is about.
func at(field string, p *problem.Error) error {
	p.Where = field
	return p
}

func normalLogin(login string) string { return strings.ToLower(strings.TrimSpace(login)) }

// maxLogin bounds a sign-in name in bytes.
const maxLogin = 64

func checkLogin(login string) error {
	if len(login) < 2 || len(login) > maxLogin {
		return at("sign-in name", problem.New(problem.Invalid, "the sign-in name must have 2 to 64 bytes", "choose another one"))
	}
	for _, r := range login {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(".-_@", r) {
			return at("sign-in name", problem.New(problem.Invalid, "the sign-in name may hold letters, digits and . - _ @", "choose another one"))
		}
	}
	return nil
}

func checkGrants(grants []Grant) error {
	for _, g := range grants {
		if g.Role.rank() == 0 {
			return at("role", problem.New(problem.Invalid, fmt.Sprintf("there is no role %q", g.Role), "choose operator, manager or coordinator"))
		}
		if g.Lab == (record.LabID{}) {
			return at("lab", problem.New(problem.Invalid, "the role is in no lab", "choose the lab that it holds in"))
		}
	}
	return nil
}

// principal gives what an account may do; of several grants in a lab the last counts.
func principal(a *Account) Principal {
	p := Principal{ID: a.ID, Login: a.Login, Name: a.Name, Administrator: a.Administrator, Roles: map[record.LabID]Role{}}
	for _, g := range a.Grants {
		p.Roles[g.Lab] = g.Role
	}
	return p
}
