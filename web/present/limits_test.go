package present_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/metrics/limits"
	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// What stands beside a result: short words, and whether the constants were
// compared with print; never an id that only programs know.
func TestRemark(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		r    lab.Result
		want string
	}{
		{lab.Result{}, ""},
		{lab.Result{Note: "typed"}, "typed"},
		{lab.Result{Definition: "severity-index-4g"}, "Gadd, from 4 g to 4 g, not confirmed against print"},
		{lab.Result{Definition: "hic-571.208"}, "US regulation for vehicles, confirmed against print"},
		{lab.Result{Definition: "pulse-shape"}, "common practice"},
		{lab.Result{Definition: "gambit-a", Note: "[(a/a_c)^2.5 + (alpha/alpha_c)^2.5]^(1/2.5) of the two peaks"}, "Newman 1986, exponent 2.5, not confirmed against print"},
		{lab.Result{Definition: "gambit-a", Note: "[(a/a_c)^2.5 + (alpha/alpha_c)^2.5]^(1/2.5) of the two peaks; lower bound: channel ax is saturated"}, "lower bound: channel ax is saturated; Newman 1986, exponent 2.5, not confirmed against print"},
		{lab.Result{Definition: "bric-2013", Note: "one axis is saturated"}, "one axis is saturated; Takhounts 2013, not confirmed against print"},
		{lab.Result{Definition: "of-a-later-version"}, "of-a-later-version"},
	} {
		if got := present.Remark(&tc.r); got != tc.want {
			t.Errorf("%+v: %q, want %q", tc.r, got, tc.want)
		}
	}
	for _, d := range limits.Definitions() {
		got := present.Remark(&lab.Result{Definition: d.ID})
		if strings.Contains(got, d.ID) || strings.Contains(got, limits.Unconfirmed) == d.Confirmed() {
			t.Errorf("%s: %q", d.ID, got)
		}
	}
}

// Published functions are drawn folded, each with its sentence, and only with
// results that they can take.
func TestPublished(t *testing.T) {
	t.Parallel()
	if got := present.Published(map[string]lab.Result{"severity_index": {Value: 400}}); len(got) != 0 {
		t.Errorf("%+v, want none", got)
	}
	row, scores := shot(t, func(*lab.Shot) {}, func(b *lab.Score) {
		b.Results = map[string]lab.Result{"peak_linear_acceleration": {Value: 40, Unit: "g"}, "peak_angular_acceleration": {Value: 90000, Unit: "rad/s2"}}
	})
	p := present.Shot(&row, scores, time.UTC, "kPa")
	if len(p.Published) != 5 {
		t.Fatalf("%d functions, want the five of peak linear and angular acceleration", len(p.Published))
	}
	var html strings.Builder
	if err := page.Render(&html, p); err != nil {
		t.Fatal(err)
	}
	folded := html.String()[strings.Index(html.String(), `<details id="published">`):]
	folded = folded[:strings.Index(folded, "</details>")]
	for _, words := range []string{"at most 25.0", "at least 80.0", "Rowson and Duma, 2013", "47000 rad/s² (taken as this, the bound of the function)", "Peak linear acceleration 40.0 g"} {
		if !strings.Contains(folded, words) {
			t.Errorf("%q is missing in %s", words, folded)
		}
	}
	for _, f := range p.Published {
		if !strings.Contains(folded, f.Sentence) || !strings.Contains(f.Sentence, "no medical statement") {
			t.Errorf("%s: the sentence %q is missing", f.Name, f.Sentence)
		}
	}
}

// A campaign's limits are held against the shots of its specimens, and the screen
// says where a figure is printed and whether anybody has looked.
func TestLimits(t *testing.T) {
	t.Parallel()
	n, in := labtest.Open(t), labtest.ID("lab")
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, labtest.ID("campaign"), &lab.Campaign{Name: "Spring series", Specimens: []string{"H-1"},
		AcceptanceLimits: []lab.Limit{
			{Result: "hic15", Most: 700}, {Result: "severity_index", Most: 1200}, {Result: "peak_linear_acceleration", Most: 100, Unit: "g"},
			{Result: "damage", Most: 0.3}, {Result: "dwell_150g", Most: 4, Unit: "g"}, {Result: "dwell_200g", Most: 2, Unit: "ms"},
			{Result: "clip_3ms", Most: 80, Unit: "g"},
		}}))
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, labtest.ID("other"), &lab.Campaign{Name: "Other", Specimens: []string{"H-2"}, AcceptanceLimits: []lab.Limit{{Result: "hic15", Most: 1}}}))
	id := labtest.ID("shot")
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, id, labtest.Shot(labtest.ID("rig"), labtest.Start(), func(s *lab.Shot) { s.Specimen = "h-1" })))
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, id, labtest.Score(id, 5.432, func(b *lab.Score) {
		b.Results = map[string]lab.Result{"hic15": {Value: 560}, "severity_index": {Value: 1260}, "peak_linear_acceleration": {Value: 98, Unit: "g", ExpandedUncertainty: new(3.0)},
			"dwell_150g": {Value: 0.001, Unit: "s"}, "dwell_200g": {Value: 0.0005, Unit: "s"},
			"clip_3ms": {Value: 60, Unit: "g", Note: "contiguous; " + score.LowerBound + ": channel ax is saturated"}}
	})))
	row, err := n.Reader.Shot(t.Context(), scope.All(), id)
	if err != nil {
		t.Fatal(err)
	}
	scores, err := n.Reader.Scores(t.Context(), scope.All(), id)
	if err != nil {
		t.Fatal(err)
	}
	got, err := present.Limits(t.Context(), n.Reader, scope.All(), &row, scores)
	if err != nil {
		t.Fatal(err)
	}
	p := present.Shot(&row, scores, time.UTC, "kPa")
	p.Limits = got
	var html strings.Builder
	if err := page.Render(&html, p); err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"Acceptance limits", "Spring series", "limit not confirmed against print", "Nothing is certified"} {
		if !strings.Contains(html.String(), words) {
			t.Errorf("the screen does not say %q", words)
		}
	}
	want := []struct {
		margin, word, source string
		level                page.Level
	}{
		{"140", "within the limit; its uncertainty is not known", "set by the campaign; the figure of 49 CFR 571.208", page.Warn},
		{"−60", "above the limit; its uncertainty is not known", "set by the campaign; the figure of performance specification for football helmets (NOCSAE ND002), limit not confirmed against print", page.Bad},
		{"2.0", "within the limit, by less than the uncertainty", "set by the campaign", page.Warn},
		{"", "not compared: the shot has no such result", "set by the campaign", page.Warn},
		{"", "not compared: the result is in s, the limit in g", "set by the campaign", page.Warn},
		{"1.5", "within the limit; its uncertainty is not known", "set by the campaign; the figure of 49 CFR 571.218 S5.1 (b), limit not confirmed against print", page.Warn},
		{"20.0", "not known: the value is a lower bound, the true one may be above the limit", "set by the campaign", page.Warn},
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d: %+v", len(got), len(want), got)
	}
	for i, w := range want {
		r := got[i]
		if r.Margin.Text != w.margin || r.State.Word != w.word || r.State.Level != w.level || r.Source != w.source || r.Campaign != "Spring series" {
			t.Errorf("row %d: %+v, want %+v", i, r, w)
		}
	}
	if got[5].Most.Text != "2.0" || got[5].Most.Unit != "ms" {
		t.Errorf("a limit in seconds is shown as %+v", got[5].Most)
	}
	row.Shot.Kind = lab.ShotDry
	if got, err := present.Limits(t.Context(), n.Reader, scope.All(), &row, scores); got != nil || err != nil {
		t.Errorf("a dry stroke is held against %+v, %v", got, err)
	}
}

// Below the limit is not within it where only a lower bound is known.
func TestVerdictOfALowerBound(t *testing.T) {
	with := []view.CampaignRow{{Campaign: lab.Campaign{AcceptanceLimits: []lab.Limit{{Result: "hic15", Most: 700}}}}}
	for _, x := range []struct {
		r    lab.Result
		want page.Level
	}{
		{lab.Result{Value: 600}, page.OK}, {lab.Result{Value: 600, Note: score.LowerBound + ": cut"}, page.Warn}, {lab.Result{Value: 800, Note: score.LowerBound + ": cut"}, page.Bad},
	} {
		if got := present.VerdictOf(with, map[string]lab.Result{"hic15": x.r}).Status(); got.Level != x.want {
			t.Errorf("%+v: %+v", x.r, got)
		}
	}
}
