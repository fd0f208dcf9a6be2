package present

import (
	"strings"

	"thudbook/sync/ledger"
	"thudbook/web/page"
)

// SplitNotice parts a notice of the ledger, or an alarm made from one, into the
// words for everybody and the details for who looks after the program.
func SplitNotice(text string) (words, details string) {
	words, details, _ = strings.Cut(text, ledger.Details)
	if strings.HasPrefix(words, "Origin ") && strings.Contains(words, " is closed and will not be written again") {
		// As earlier versions recorded it.
		return "This computer went on in a new chain of records, and the chain before was closed. Records that are here stay. Tell the person who looks after this computer.", words
	}
	return words, details
}

// Rebuilding tells on a screen that its lists are incomplete, and how far they are;
// nothing when they are whole.
func Rebuilding(b ledger.Rebuilding) []page.Notice {
	if !b.Running {
		return nil
	}
	return []page.Notice{{Level: page.Warn, Text: b.String()}}
}

// Notice is a notice of the ledger for the screen.
func Notice(text string) page.Notice {
	n := page.Notice{Level: page.Warn}
	n.Text, n.Details = SplitNotice(text)
	return n
}
