package desk

import (
	"strings"
	"testing"
	"time"

	"thudbook/web/page"
)

// While strokes are computed, no count says that nothing changes.
func TestCountsWhileComputing(t *testing.T) {
	t.Parallel()
	for computing, want := range map[bool]string{true: "– results that change: still computing; – verdicts that change: still computing", false: "0 results that change; 0 verdicts that change"} {
		s := page.Review{}
		if computing {
			s.Progress = &page.Progress{Of: 40}
		}
		(&Desk{zone: time.UTC}).fillReview(&s, &reviewed{}, nil)
		var got []string
		for _, c := range s.Counts[2:] {
			got = append(got, c.Count+" "+c.Name)
		}
		if text := strings.Join(got, "; "); text != want {
			t.Errorf("computing %v: %q, want %q", computing, text, want)
		}
	}
}

func TestFlipsFirst(t *testing.T) {
	t.Parallel()
	g := []page.ReviewGroup{{Specimen: "A", Rows: []page.ReviewRow{{Href: "1"}}}, {Specimen: "B", Rows: []page.ReviewRow{{Href: "2"}, {Href: "3", Flips: true}, {Href: "4"}}}}
	flipsFirst(g)
	got := ""
	for _, x := range g {
		for _, r := range x.Rows {
			got += x.Specimen + r.Href + " "
		}
	}
	if want := "B3 B2 B4 A1 "; got != want {
		t.Errorf("in the order %q, want %q", got, want)
	}
}
