package exchange

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"thudbook/sync/problem"
)

// AtCode is where a problem stands that the typed code has.
const AtCode = "code"

const codeGroup = 5 // characters that are written together

// ParseCode reads a code as people type it: any case, with or without dashes
// and spaces, O for 0, I and L for 1. An error says which group is wrong.
func ParseCode(s string) (Code, error) {
	const fix = "Compare it with the server's page; small letters, spaces and dashes do not matter."
	bad := func(format string, args ...any) error {
		return &problem.Error{Code: problem.Invalid, What: fmt.Sprintf(format, args...), Where: AtCode, Fix: fix}
	}
	groups := strings.FieldsFunc(strings.ToUpper(s), func(r rune) bool { return unicode.IsSpace(r) || unicode.Is(unicode.Pd, r) })
	plain := strings.NewReplacer("O", "0", "I", "1", "L", "1").Replace(strings.Join(groups, ""))
	n := 0
	for _, r := range plain {
		if !strings.ContainsRune(codeDigits, r) {
			return Code{}, bad("The code has %q in group %d; no code has that character.", r, n/codeGroup+1)
		}
		n++
	}
	if want := digits.EncodedLen(secretSize + fingerprintSize); n != want {
		what := fmt.Sprintf("The code has %d characters without spaces and dashes; it needs %d, in %d groups of %d.", n, want, want/codeGroup, codeGroup)
		for i, g := range groups {
			if k := utf8.RuneCountInString(g); len(groups) > 1 && k != codeGroup {
				return Code{}, bad("%s Group %d has %d.", what, i+1, k)
			}
		}
		return Code{}, bad("%s", what)
	}
	b, err := digits.DecodeString(plain)
	if err != nil || len(b) != secretSize+fingerprintSize {
		return Code{}, bad("The code cannot be read.")
	}
	var c Code
	copy(c.Secret[:], b)
	copy(c.Server[:], b[secretSize:])
	return c, nil
}
