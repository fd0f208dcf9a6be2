package server

import (
	"context"
	"fmt"
	"strings"

	"thudbook/server/ownkey"
	"thudbook/sync/problem"
	"thudbook/web/present"
)

// serverKey does what was ordered about the server's own key: words hold what to
// do, and whether to go on although agents have not heard of it.
func (p *parts) serverKey(ctx context.Context, words map[string]string) (string, error) {
	did := ""
	switch words["do"] {
	case "state":
	case "announce":
		if err := p.ownKey.Announce(ctx); err != nil {
			return "", err
		}
	case "use":
		if err := p.ownKey.Use(ctx, byCommand, words["anyway"] == "yes"); err != nil {
			return "", err
		}
		did = "The new key is in use. "
	default:
		return "", problem.New(problem.Invalid, fmt.Sprintf("%q is nothing to do about the key", words["do"]), "give state, announce or use")
	}
	s, err := p.ownKey.State(ctx)
	if err != nil {
		return "", err
	}
	return did + keyWords(&s), nil
}

func keyWords(s *ownkey.State) string {
	var b strings.Builder
	fmt.Fprintf(&b, "This server proves itself with the key %s.", present.Fingerprint(s.Key))
	if s.Next == nil {
		b.WriteString(" No other one is announced.")
		return b.String()
	}
	fmt.Fprintf(&b, "\nThe key to come is announced: %s.", present.Fingerprint(s.Next))
	if len(s.Heard) > 0 {
		fmt.Fprintf(&b, "\nHave heard of it: %s.", strings.Join(s.Heard, ", "))
	}
	if len(s.NotHeard) > 0 {
		fmt.Fprintf(&b, "\nHave not heard of it yet: %s. Each needs a new code if it is used before.", strings.Join(s.NotHeard, ", "))
	} else {
		b.WriteString("\nEvery agent has heard of it; it can be used.")
	}
	if s.OpenCodes > 0 {
		fmt.Fprintf(&b, "\n%d one-time codes are open; they end with the change.", s.OpenCodes)
	}
	return b.String()
}
