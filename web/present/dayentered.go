package present

import (
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// ComputedAgain says that a person had a shot computed by another channel map.
type ComputedAgain struct {
	view.Head        // of the shot, by whom and when it was computed
	Shot      string // what was hit, and when
	Reason    string
}

// entered adds what was entered on the day and stands in no list of the log:
// certificates, and shots of the day that were computed by another channel map,
// whenever that was.
func (d *Day) entered(ctx context.Context, out *[]LogEntry) error {
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Read.Items(ctx, d.Scope, "", q)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			rows, err := d.Read.Calibrations(ctx, d.Scope, list.Rows[i].ID)
			if err != nil {
				return err
			}
			for j := range rows {
				if at := lab.At(rows[j].RecordedAt); d.within(at) {
					*out = append(*out, LogEntry{At: at, Certificate: &rows[j]})
				}
			}
		}
		if q.After = list.Next; list.Next == "" {
			break
		}
	}
	return d.EachShot(ctx, func(r *view.ShotRow) error {
		scores, err := d.Read.Scores(ctx, d.Scope, r.ID)
		for i := range scores {
			if s := &scores[i]; s.Score.Reason != "" {
				h := view.Head{ID: r.ID, Lab: r.Lab, Author: s.Author, RecordedAt: s.RecordedAt}
				*out = append(*out, LogEntry{At: lab.At(s.RecordedAt), Again: &ComputedAgain{h, HitOf(r) + ", " + page.ShowMoment(Moment(r.Shot.EffectiveAt, d.From.Location())), s.Score.Reason}})
			}
		}
		return err
	})
}
