package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/metrics/chanmap"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// anotherMap shows what a shot becomes when another channel map reads it.
func (d *Desk) anotherMap(c echo.Context) error { return d.anotherMapPage(c, nil, http.StatusOK) }

func (d *Desk) anotherMapPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	id, err := d.id(c)
	if err != nil {
		return err
	}
	row, err := d.read.Shot(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	scores, err := d.read.Scores(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	p := page.AnotherMap{Frame: d.frame(c, "Compute again by another channel map", page.PathShots), Shot: page.ShotPath(id.String()), What: present.HitOf(&row), Holds: present.MapUsed(&row, scores)}
	maps, err := d.otherMaps(ctx, &row)
	if err != nil {
		return err
	}
	p.Maps = mapChoices(maps)
	wish := c.QueryParam(page.AnotherMapField)
	if typed != nil {
		wish = typed.Values[page.AnotherMapField]
		p.Notices = append(p.Notices, typed.Other...)
	}
	if by := chosen(maps, wish); by != nil {
		p.Chosen = by.Hash.String()
		if p.Change, err = d.mapPreview(ctx, &row, scores, maps, by); err != nil {
			pr, ok := problem.As(err)
			if !ok {
				return err
			}
			p.Notices = append(p.Notices, page.Notice{Level: page.Bad, Text: pr.What, Fix: pr.Fix})
		} else {
			typed.Into(&p.Change.Confirm)
		}
	}
	return httpkit.Page(c, status, p)
}

// otherMaps are the saved maps that the shot is not read by now.
func (d *Desk) otherMaps(ctx context.Context, row *view.ShotRow) ([]intake.SavedMap, error) {
	all, err := d.Intake.SavedMaps(ctx, row.Shot.Rig)
	return slices.DeleteFunc(all, func(m intake.SavedMap) bool { return m.Hash == row.Map() }), err
}

func mapChoices(maps []intake.SavedMap) (out []page.Choice) {
	for _, m := range maps {
		text := cmp.Or(m.Map.Map.Name, m.Name) + ", " + m.Hash.String()[:8]
		switch {
		case m.Current:
			text += ", holds now for new files"
		case m.LastUsed != 0:
			text += ", last for the shot of " + page.ShowMoment(m.LastUsed.Time().In(time.Local))
		}
		out = append(out, page.Choice{Value: m.Hash.String(), Text: text})
	}
	return out
}

// chosen is the map that is wished for, else the first; nil where there is none.
func chosen(maps []intake.SavedMap, sum string) *intake.Map {
	if i := slices.IndexFunc(maps, func(m intake.SavedMap) bool { return m.Hash.String() == sum }); i >= 0 {
		return maps[i].Map
	}
	if sum == "" && len(maps) > 0 {
		return maps[0].Map
	}
	return nil
}

// mapPreview computes the shot by another map, and asks whether that is to hold.
func (d *Desk) mapPreview(ctx context.Context, row *view.ShotRow, scores []view.ScoreRow, maps []intake.SavedMap, by *intake.Map) (*page.MapPreview, error) {
	x, err := d.Intake.TryMap(ctx, row.ID, by)
	if err != nil {
		return nil, err
	}
	after := *x.After
	after.Flags = x.Flags()
	p := present.MapPreview(x.Before, &after)
	if was := d.mapThatHolds(ctx, row, scores); was != nil {
		p.Differs = present.MapChanges(was, by.Map)
	}
	p.Confirm = httpkit.Blank(page.AnotherMapFields(), page.AnotherMapPath(row.ID.String()), "another", "Let this result hold")
	p.Confirm.Values = map[string]string{page.AnotherMapField: by.Hash.String()}
	p.Confirm.Hidden = map[string]string{page.SeenField: resultSeen(row)}
	return &p, nil
}

// mapThatHolds is the map that the shot is read by now; nil when it was guessed, or
// cannot be read.
func (d *Desk) mapThatHolds(ctx context.Context, row *view.ShotRow, scores []view.ScoreRow) *chanmap.Map {
	a := row.MapOf(scores)
	if a == nil {
		return nil
	}
	m, err := d.Intake.StoredMap(ctx, a)
	if err != nil {
		d.Log.Warn("the channel map of a shot cannot be read", "shot", row.ID, "error", err)
		return nil
	}
	return m.Map
}

// resultSeen names the result that a person looked at.
func resultSeen(row *view.ShotRow) string { return fmt.Sprint(row.ScoreTurn, " ", row.Scored()) }

// useAnotherMap lets the result of another map hold, with a reason.
func (d *Desk) useAnotherMap(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	return d.once.Post(c, whom, page.AnotherMapFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		row, err := d.read.Shot(ctx, d.scope(), id)
		if err != nil {
			return "", err
		}
		maps, err := d.otherMaps(ctx, &row)
		if err != nil {
			return "", err
		}
		by := chosen(maps, cmp.Or(f.Values[page.AnotherMapField], record.Hash{}.String()))
		if by == nil || c.FormValue(page.SeenField) != resultSeen(&row) {
			return "", problem.New(problem.Conflict, "The shot was computed again meanwhile, or the map is not offered any more.", "Look at what changes now, then say it again.")
		}
		x, err := d.Intake.TryMap(ctx, id, by)
		if err == nil {
			err = d.Intake.RecordMap(ctx, x, f.Values["reason"], d.author(c))
		}
		return page.ShotPath(id.String()), err
	}, d.anotherMapPage, nil)
}

// mayRemap says that a shot can be read again here: its bytes are on this machine.
func (d *Desk) mayRemap(ctx context.Context, row *view.ShotRow) bool {
	has, _, err := d.Blobs.Has(ctx, row.Shot.SourceSHA256)
	return err == nil && has && row.Shot.Kind != lab.ShotSecondFile
}
