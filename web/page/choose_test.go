package page_test

import (
	"strings"
	"testing"

	"thudbook/web/page"
)

func drawn(t *testing.T, s page.Page) string {
	t.Helper()
	var b strings.Builder
	if err := page.Render(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// A needed selection has nothing chosen until a person chooses; where there is
// one entry, or a value, or an empty entry of its own, it stays as it is.
func TestNothingIsChosenByItself(t *testing.T) {
	const empty = `<option value="" selected>choose …</option>`
	two := []page.Choice{{Value: "a", Text: "A"}, {Value: "b", Text: "B"}}
	for name, tc := range map[string]struct {
		required bool
		value    string
		choices  []page.Choice
		want     int
	}{
		"two":           {true, "", two, 1},
		"filled":        {true, "b", two, 0},
		"one":           {true, "", two[:1], 0},
		"its own empty": {true, "", append([]page.Choice{{Text: "none"}}, two...), 0},
		"optional":      {false, "", two, 0},
	} {
		f := page.Form{Action: "/x", Fields: []page.Field{{Name: "item", Label: "Item", Kind: "select", Required: tc.required}},
			Choices: map[string][]page.Choice{"item": tc.choices}, Values: map[string]string{"item": tc.value}}
		html := drawn(t, page.NewOrder{Frame: page.Frame{Title: "New"}, Form: f})
		if n := strings.Count(html, empty); n != tc.want {
			t.Errorf("%s: %d empty entries, want %d", name, n, tc.want)
		}
		if n := strings.Count(html, "<option"); n != len(tc.choices)+tc.want {
			t.Errorf("%s: %d entries of %d", name, n, len(tc.choices))
		}
	}
}

// What is wrong with a field is said once, at the field; the summary leads there.
func TestFaultIsSaidOnce(t *testing.T) {
	f := page.Form{ID: "in", Action: "/signin", Fields: page.SignInFields(), Errors: map[string]string{"password": "The name or the password is wrong."}}
	html := drawn(t, page.SignIn{Frame: page.Frame{Title: "Sign in"}, Form: f})
	if n := strings.Count(html, "The name or the password is wrong."); n != 1 || !strings.Contains(html, `<a href="#in-password">Password</a>`) {
		t.Errorf("said %d times: %s", n, html)
	}
}

// A hit at ambient condition has no time out of a chamber.
func TestAmbientHasNoChamber(t *testing.T) {
	for _, ambient := range []bool{false, true} {
		html := drawn(t, page.Next{Frame: page.Frame{Title: "Next shot"}, Step: &page.Step{Specimen: "F-1", Location: "front", Condition: "ambient", Ambient: ambient}})
		if strings.Contains(html, "Out of the chamber") == ambient || !strings.Contains(html, "Rest since the last hit") {
			t.Errorf("ambient %v: %s", ambient, html)
		}
	}
}
