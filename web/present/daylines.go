package present

import (
	"context"
	"iter"
	"slices"
	"strconv"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// DayHead are the columns of a day as CSV: a row for each thing that happened.
func DayHead() []string {
	return []string{"at", "what", "id", "specimen", "location", "condition", "target_speed_m_s", "speed_m_s", "tank_pressure_kpa_gauge",
		"peak_linear_acceleration_g", "hic15", "verdict", "reason", "limits", "flags", "strokes", "text", "author"}
}

// dayLine is a row under DayHead, with its time to sort by.
type dayLine struct {
	at    lab.Time
	cells map[string]string
}

// Lines gives the day under DayHead in the order of time, with all digits. Times
// are in UTC.
func (d *Day) Lines(ctx context.Context) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		all, err := d.lines(ctx)
		if err != nil {
			yield(nil, err)
			return
		}
		for _, l := range all {
			row := make([]string, len(DayHead()))
			for i, name := range DayHead() {
				row[i] = l.cells[name]
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

func (d *Day) lines(ctx context.Context) (out []dayLine, err error) {
	add := func(at lab.Time, what, id, author string, cells map[string]string) {
		cells["at"], cells["what"], cells["id"], cells["author"] = at.String(), what, id, author
		out = append(out, dayLine{at, cells})
	}
	err = d.EachShot(ctx, func(r *view.ShotRow) error {
		cells, err := d.shotCells(ctx, r)
		add(r.Shot.EffectiveAt, Kind(r.Shot.Kind), r.ID.String(), r.Author, cells)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, err := d.entries(ctx)
	if err != nil {
		return nil, err
	}
	shown := d.logView()
	for i := range all {
		row, err := shown.Row(ctx, &all[i])
		if err != nil {
			return nil, err
		}
		text := row.Text
		if row.About != "" {
			text = row.About + ": " + text
		}
		add(all[i].At, row.Kind, row.ID, all[i].head().Author, map[string]string{"text": strings.Join(append(append([]string{text}, row.Parts...), row.Facts...), "; "), "verdict": row.Ended.Word})
	}
	if err := d.restLines(ctx, add); err != nil {
		return nil, err
	}
	slices.SortStableFunc(out, func(a, b dayLine) int { return int(min(max(a.at-b.at, -1), 1)) })
	return out, nil
}

func (d *Day) shotCells(ctx context.Context, r *view.ShotRow) (map[string]string, error) {
	s := &r.Shot
	cells := map[string]string{"specimen": s.Specimen, "location": s.Location, "condition": s.Condition, "target_speed_m_s": plain(s.TargetSpeedMS),
		"speed_m_s": plain(r.SpeedMS()), "tank_pressure_kpa_gauge": plain(s.TankPressureKPaGauge), "strokes": "1"}
	if f := r.Figures; f != nil {
		cells["peak_linear_acceleration_g"], cells["hic15"] = plain(f.PeakG), plain(f.HIC15)
	}
	row, err := ListRow(ctx, d.Read, d.Scope, r, d.From.Location())
	if err != nil {
		return nil, err
	}
	var codes []string
	for _, f := range row.Flags {
		if f.Code != "void" {
			codes = append(codes, f.Code)
		}
	}
	cells["flags"] = strings.Join(codes, " ")
	v, reason, _, err := d.verdict(ctx, r)
	if err != nil {
		return nil, err
	}
	cells["verdict"], cells["reason"] = v.Word, reason
	if s.Kind == lab.ShotSystemCheck && !r.Void() {
		cells["specimen"] = s.ReferencePad
		c, err := d.Read.Check(ctx, d.Scope, r.ID)
		if err != nil {
			return nil, err
		}
		if c != nil {
			cells["verdict"], cells["reason"] = checkState(c.State).Word, c.Words()
		}
	}
	if !r.Void() {
		l, err := d.limits(ctx, r)
		if err != nil {
			return nil, err
		}
		cells["limits"] = l.Word
	}
	return cells, nil
}

// restLines adds strokes, inspections and reasons to go on.
func (d *Day) restLines(ctx context.Context, add func(at lab.Time, what, id, author string, cells map[string]string)) error {
	bare, err := d.bare(ctx)
	if err != nil {
		return err
	}
	for i := range bare {
		s := &bare[i].Strokes
		add(s.EffectiveAt, BareWords(s), bare[i].ID.String(), bare[i].Author, map[string]string{"strokes": strconv.FormatInt(s.Number, 10), "tank_pressure_kpa_gauge": plain(s.TankPressureKPaGauge), "reason": s.Reason,
			"specimen": s.Specimen, "location": s.Location, "condition": s.Condition, "target_speed_m_s": plain(s.TargetSpeedMS)})
	}
	found, err := FoundStrokes(ctx, d.Read, d.Scope, d.Rig, lab.At(d.From), lab.At(d.End()))
	if err != nil {
		return err
	}
	for i := range found {
		f := &found[i]
		add(f.At, f.What, f.ID.String(), f.Author, map[string]string{"strokes": strconv.FormatInt(f.Number, 10), "reason": f.Reason})
	}
	seen, err := d.looked(ctx)
	if err != nil {
		return err
	}
	for i := range seen {
		r := &seen[i]
		add(r.Inspection.EffectiveAt, "inspection", r.ID.String(), r.Author, map[string]string{"specimen": r.Inspection.Specimen, "verdict": r.Inspection.Verdict, "reason": r.Inspection.Reason, "text": strings.Join(Seen(&r.Inspection), "; ")})
	}
	on, err := d.Read.WentOnWithin(ctx, d.Scope, d.Rig, lab.At(d.From), lab.At(d.End()))
	for i := range on {
		w := &on[i].WentOn
		add(w.EffectiveAt, "went on overdue", on[i].ID.String(), on[i].Author, map[string]string{"reason": w.Reason, "text": strings.Join(w.What, "; ")})
	}
	return err
}

func checkState(s view.CheckState) page.Status {
	switch s {
	case view.CheckGood:
		return page.Status{Level: page.OK, Word: "good"}
	case view.CheckFailed:
		return page.Status{Level: page.Bad, Word: "failed"}
	}
	return page.Status{Word: "not judged"}
}
