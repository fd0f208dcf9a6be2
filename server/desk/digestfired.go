package desk

import (
	"context"
	"slices"
	"strings"

	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/present"
)

// firedCount counts the strokes of a rig on one day; bare are those without a file.
type firedCount struct{ shots, void, dry, checks, bare int64 }

func (c *firedCount) words() string {
	all := []string{present.Count(c.shots, "shot", "shots"), some(c.void, "void shot", "void shots"), some(c.dry, "dry stroke", "dry strokes"),
		some(c.checks, "system check", "system checks"), some(c.bare, "stroke without a file", "strokes without a file")}
	return strings.Join(slices.DeleteFunc(all, func(s string) bool { return s == "" }), ", ")
}

// some counts what there is; "" for none.
func some(n int64, one, many string) string {
	if n == 0 {
		return ""
	}
	return present.Count(n, one, many)
}

// codesOf gives the codes of the flags of a stroke, each once: of its score, of
// its rig, and of the plan in force.
func (d *Desk) codesOf(ctx context.Context, sc scope.Scope, r *view.ShotRow) (codes []string, err error) {
	if r.Figures != nil {
		codes = slices.Clone(r.Figures.Flags)
	}
	more, err := d.Views.RigFlags(ctx, sc, r.ID)
	for _, f := range more {
		if !slices.Contains(codes, f.Code) {
			codes = append(codes, f.Code)
		}
	}
	return codes, err
}
