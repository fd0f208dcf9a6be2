package desk

import (
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// awaited names a confirmed shot in words.
func (d *Desk) awaited(ctx context.Context, x *lab.Expected) string {
	what := present.Kind(x.Kind)
	if x.Specimen != "" {
		what = x.Specimen
	}
	if x.Location != "" {
		what += ", " + x.Location
	}
	if x.TankPressureKPaGauge != nil {
		n := present.Pressure(*x.TankPressureKPaGauge, d.unit(ctx)).Number
		what += ", " + n.Text + " " + n.Unit
	}
	return what
}

// confirmedBefore answers a confirmation that comes while another one waits for
// its file. The same shot at the same pressure, as from a second tab, is that
// one; of another one it says what waits, and keeps what was typed.
func (d *Desk) confirmedBefore(c echo.Context, before *view.ExpectedRow, e *lab.Expected, t *tried) error {
	x := &before.Expected
	if len(t.faults) == 0 && sameShot(x, e) {
		return httpkit.SeeOther(c, page.PathResult)
	}
	n := page.Notice{Level: page.Bad, Text: "Nothing was recorded: " + d.awaited(c.Request().Context(), x) + " was confirmed " +
		page.ShowMoment(present.Moment(x.EffectiveAt, time.Local)) + ", " + by(present.Who(before.Author, d.personName)) + ", and waits for its file.",
		Fix: "Fire that shot, or say on the Result screen that it was not fired; then confirm this one. What you typed is kept below.", Link: "See what waits", Href: page.PathResult}
	return d.confirmAgain(c, e, t, http.StatusConflict, n)
}

func by(who string) string {
	if who == present.Who(lab.AuthorRig, nil) {
		return who
	}
	return "by " + who
}

// sameShot tells whether two confirmations are of one shot at one pressure.
func sameShot(a, b *lab.Expected) bool {
	return a.Kind == b.Kind && a.Campaign == b.Campaign && lab.Fold(a.Specimen) == lab.Fold(b.Specimen) && lab.Fold(a.Location) == lab.Fold(b.Location) &&
		lab.Fold(a.Condition) == lab.Fold(b.Condition) && lab.Fold(a.ReferencePad) == lab.Fold(b.ReferencePad) &&
		same(a.TargetSpeedMS, b.TargetSpeedMS) && same(a.TankPressureKPaGauge, b.TankPressureKPaGauge) && same(a.SpeedMS, b.SpeedMS)
}

func same(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }
