package tell

import (
	"context"
	"strings"
	"unicode/utf8"

	"thudbook/sync/kv"
)

// Count says how many messages wait, how many of them have failed at least once,
// and how many were given up.
func (t *Teller) Count(ctx context.Context) (waiting, failing, lost int, err error) {
	err = t.Store.View(ctx, func(r kv.Reader) error {
		waiting, failing, lost = 0, 0, 0
		for m, err := range messages().Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			switch {
			case m.GivenUp:
				lost++
			case m.Sent.IsZero():
				if waiting++; m.Failed != "" {
					failing++
				}
			}
		}
		return nil
	})
	return waiting, failing, lost, err
}

// mostSaid is how many bytes of an error are kept.
const mostSaid = 300

// sentence is an error as one line of at most mostSaid bytes.
func sentence(err error) string {
	text := strings.Join(strings.Fields(err.Error()), " ")
	if len(text) <= mostSaid {
		return text
	}
	cut := mostSaid
	for !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut]
}
