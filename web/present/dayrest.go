package present

import (
	"context"
	"slices"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// bare gives the strokes without a file of the day, oldest first.
func (d *Day) bare(ctx context.Context) (out []view.StrokesRow, err error) {
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Read.Unfiled(ctx, d.Scope, d.Rig, q)
		if err != nil {
			return nil, err
		}
		for i := range list.Rows {
			if at := list.Rows[i].Strokes.EffectiveAt; d.within(at) {
				out = append(out, list.Rows[i])
			} else if at < lab.At(d.From) {
				list.Next = "" // what follows is older still
				break
			}
		}
		if q.After = list.Next; list.Next == "" {
			slices.Reverse(out)
			return out, nil
		}
	}
}

// WithoutFile counts the strokes of the day of which there is no file of their
// own.
func (d *Day) WithoutFile(ctx context.Context) (n int64, err error) {
	rows, err := d.bare(ctx)
	if err != nil {
		return 0, err
	}
	for i := range rows {
		n += rows[i].Strokes.Number
	}
	found, err := FoundStrokes(ctx, d.Read, d.Scope, d.Rig, lab.At(d.From), lab.At(d.End()))
	for i := range found {
		n += found[i].Number
	}
	return n, err
}

// strokes are those of which there is no file of their own: dry ones, those fired
// without one, those that only the counter has, and files seen again that count.
func (d *Day) strokes(ctx context.Context, p *page.Day) error {
	rows, err := d.bare(ctx)
	for i := range rows {
		s := &rows[i].Strokes
		row := page.DayStrokes{At: Moment(s.EffectiveAt, d.From.Location()), Number: int(s.Number), What: BareWords(s), Hit: BareHit(s), Reason: s.Reason,
			Pressure: page.Pressure{Number: page.Missing("not recorded")}, By: d.person(p, rows[i].Author)}
		if v := s.TankPressureKPaGauge; v != nil {
			row.Pressure = Pressure(*v, d.Unit)
		}
		p.Strokes = append(p.Strokes, row)
	}
	if err != nil {
		return err
	}
	found, err := FoundStrokes(ctx, d.Read, d.Scope, d.Rig, lab.At(d.From), lab.At(d.End()))
	for i := range found {
		f := &found[i]
		p.Strokes = append(p.Strokes, page.DayStrokes{At: Moment(f.At, d.From.Location()), Number: int(f.Number), What: f.What, Reason: f.Reason,
			Pressure: page.Pressure{Number: page.Missing("not recorded")}, By: d.person(p, f.Author)})
	}
	slices.SortStableFunc(p.Strokes, func(a, b page.DayStrokes) int { return a.At.Compare(b.At) })
	return err
}

// BareWords says what strokes without a file were.
func BareWords(s *lab.Strokes) string {
	if s.Kind == lab.StrokeNoFile {
		return "fired, no file came"
	}
	return Count(s.Number, "dry stroke", "dry strokes")
}

// BareHit names what a stroke without a file hit; "" where it hit nothing, or
// nobody said what.
func BareHit(s *lab.Strokes) string {
	if !s.HitSpecimen() {
		return ""
	}
	return strings.Join(slices.DeleteFunc([]string{s.Specimen, s.Location, s.Condition}, func(t string) bool { return t == "" }), ", ")
}

// unread names the files that came and could not be read, whatever was done
// about them since.
func (d *Day) unread(ctx context.Context, p *page.Day) error {
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Read.Quarantine(ctx, d.Scope, true, q)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if r := &list.Rows[i]; d.within(lab.At(r.RecordedAt)) {
				p.Unread = append(p.Unread, r.Quarantine.FileName+": "+r.Quarantine.Error.What)
			}
		}
		if q.After = list.Next; list.Next == "" {
			return nil
		}
	}
}

func (d *Day) logView() *LogView {
	return &LogView{Read: d.Read, Scope: d.Scope, Zone: d.From.Location(), Who: d.Who}
}

// entries gives the part of the log that is of this day and rig, oldest first.
func (d *Day) entries(ctx context.Context) (out []LogEntry, err error) {
	f := view.LogFilter{From: lab.At(d.From), To: lab.At(d.End())}
	for _, s := range sourcesOf(ctx, d.Read, d.Scope, f)[:4] { // voids stand with their shots
		for q := (view.Page{Limit: view.MaxLimit}); ; {
			rows, next, err := s.list(q)
			if err != nil {
				return nil, err
			}
			for i := range rows {
				if m := rows[i].Mounting; m == nil || m.Mounting.Rig == d.Rig {
					out = append(out, rows[i])
				}
			}
			if q.After = next; next == "" {
				break
			}
		}
	}
	if err := d.entered(ctx, &out); err != nil {
		return nil, err
	}
	slices.SortStableFunc(out, func(a, b LogEntry) int { return int(min(max(a.At-b.At, -1), 1)) })
	return out, nil
}

func (d *Day) log(ctx context.Context, p *page.Day) error {
	all, err := d.entries(ctx)
	if err != nil {
		return err
	}
	shown := d.logView()
	for i := range all {
		row, err := shown.Row(ctx, &all[i])
		if err != nil {
			return err
		}
		row.By = d.person(p, all[i].head().Author)
		p.Log = append(p.Log, row)
	}
	return nil
}

// looked gives the inspections of the day, oldest first.
func (d *Day) looked(ctx context.Context) (out []view.InspectionRow, err error) {
	f := view.InspectionFilter{From: lab.At(d.From), To: lab.At(d.End()), Oldest: true}
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Read.Inspections(ctx, d.Scope, f, q)
		if err != nil {
			return nil, err
		}
		out = append(out, list.Rows...)
		if q.After = list.Next; list.Next == "" {
			return out, nil
		}
	}
}

func (d *Day) inspections(ctx context.Context, p *page.Day) error {
	shown := Inspections{Zone: d.From.Location(), Who: d.Who}
	rows, err := d.looked(ctx)
	for i := range rows {
		d.person(p, rows[i].Author)
		p.Seen = append(p.Seen, shown.Row(&rows[i]))
	}
	return err
}

// wentOn are the reasons with which somebody went on although something was bad.
func (d *Day) wentOn(ctx context.Context, p *page.Day) error {
	rows, err := d.Read.WentOnWithin(ctx, d.Scope, d.Rig, lab.At(d.From), lab.At(d.End()))
	for i := range rows {
		w := &rows[i].WentOn
		p.WentOn = append(p.WentOn, page.WentOn{What: w.What, Reason: w.Reason, By: Who(rows[i].Author, d.Who), Until: Moment(w.Until, d.From.Location())})
		d.person(p, rows[i].Author)
	}
	return err
}
