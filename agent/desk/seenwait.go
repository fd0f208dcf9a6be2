package desk

import (
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// seenWhile names the files that came while a shot waited, with bytes that made a
// shot before: they end no wait, and a person has to say what they were.
func (d *Desk) seenWhile(ctx context.Context, x *lab.Expected) (out []page.Notice, err error) {
	list, err := d.read.Sightings(ctx, d.scope(), view.SightingFilter{Open: true}, view.Page{Limit: shownWaiting})
	if err != nil {
		return nil, err
	}
	for i := range list.Rows {
		r := &list.Rows[i]
		if r.Sighting.Rig != x.Rig || !r.RecordedAt.After(x.EffectiveAt.Time()) {
			continue
		}
		text := r.Sighting.FileName + " came, and it has the same bytes as a shot that was taken in before. It is not taken for the confirmed shot."
		if first, err := d.read.Shot(ctx, d.scope(), r.Sighting.Shot); err == nil {
			text = r.Sighting.FileName + " came, and it has the same bytes as " + first.Shot.FileName + ", which was taken in before. It is not taken for the confirmed shot."
		}
		out = append(out, page.Notice{Level: page.Warn, Text: text, Fix: "See that the acquisition writes each shot anew. If the ram was fired and this is all that came, count the stroke below.", Link: "Seen again", Href: page.PathSeen})
	}
	return out, nil
}
