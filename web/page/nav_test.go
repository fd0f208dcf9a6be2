package page_test

import (
	"slices"
	"testing"

	"thudbook/web/page"
)

// What a day of shots needs is in sight; the rest is under More, but for where one
// is and for what has a number that asks to be looked at.
func TestMenuShowsTheDayFirst(t *testing.T) {
	texts := func(items []page.NavItem) (out []string) {
		for _, i := range items {
			out = append(out, i.Text)
		}
		return out
	}
	f := page.Frame{Nav: page.AgentNav(page.PathDrift, page.AgentCounts{Quarantine: 2})}
	if got, want := texts(f.Often()), []string{"Ready", "System check", "Next shot", "Result", "Shots", "To assign", "Drift", "Log", "Quarantine"}; !slices.Equal(got, want) {
		t.Errorf("in sight: %q, want %q", got, want)
	}
	if n := len(f.Often()) + len(f.Seldom()); n != len(f.Nav) || slices.Contains(texts(f.Seldom()), "Quarantine") {
		t.Errorf("%d of %d entries; under More: %q", n, len(f.Nav), texts(f.Seldom()))
	}
	f = page.Frame{Nav: page.ServerNav(page.PathHome, true, 0)}
	if got := texts(f.Often()); slices.Contains(got, "Accounts") || !slices.Contains(got, "Equipment") || !slices.Contains(got, "Calendar") {
		t.Errorf("in sight on the server: %q", got)
	}
}
