package desk

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"thudbook/server/feed"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/web/page"
)

// postFeed makes a new secret link and shows it once.
func (d *Desk) postFeed(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	token, err := d.Feeds.New(c.Request().Context(), p.ID)
	if err != nil {
		return err
	}
	return d.healthPage(c, d.base(c)+"/calendar/"+token+".ics", nil, http.StatusOK)
}

// base is the address under which the caller reached the server.
func (d *Desk) base(c echo.Context) string {
	scheme := "http"
	if d.Door.Secure {
		scheme = "https"
	}
	return scheme + "://" + c.Request().Host
}

// scopeOf gives the labs that the account of a token may see. A token that opens
// nothing and an account that is shut out are answered alike.
func (d *Desk) scopeOf(ctx context.Context, token string) (sc scope.Scope, err error) {
	none := problem.New(problem.NotFound, "There is nothing at this address.", "Make a new link on the server's page What is due.")
	id, ok, err := d.Feeds.Account(ctx, token)
	if err != nil {
		return sc, err
	}
	if !ok {
		return sc, none
	}
	p, ok, err := d.Accounts.Principal(ctx, id)
	if err != nil {
		return sc, err
	}
	if !ok {
		return sc, none
	}
	return d.Door.Widen(ctx, p.Scope())
}

// surveyOf looks at the items that the account of a token may see.
func (d *Desk) surveyOf(ctx context.Context, token string) (*survey, error) {
	sc, err := d.scopeOf(ctx, token)
	if err != nil {
		return nil, err
	}
	names, err := d.Roster.Names(ctx, sc)
	if err != nil {
		return nil, err
	}
	return d.survey(ctx, names, sc)
}

// calendar gives the due dates as an iCalendar stream.
func (d *Desk) calendar(c echo.Context) error {
	token, ok := strings.CutSuffix(c.Param("file"), ".ics")
	if !ok {
		return echo.ErrNotFound
	}
	v, err := d.surveyOf(c.Request().Context(), token)
	if err != nil {
		return err
	}
	var events []feed.Event
	for i := range v.due {
		x := &v.due[i]
		if x.on == 0 {
			continue
		}
		e := feed.Event{UID: x.what + "-" + x.item.String() + "@thudbook", On: x.in(d.zone), Summary: x.title + ": " + x.what + " due",
			Description: x.state.Word, URL: d.base(c) + page.ItemUsePath(x.item.String())}
		if x.period != "" {
			e.Summary = x.title + ": " + x.what + " due about now"
		}
		if x.lab != "" {
			e.Description = x.lab + ". " + e.Description
		}
		events = append(events, e)
	}
	var b bytes.Buffer
	if err := feed.Calendar(&b, "Due dates", cmpName(d.Name), v.now, events); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	return c.Blob(http.StatusOK, "text/calendar; charset=utf-8", b.Bytes())
}

func cmpName(name string) string {
	if name == "" {
		return "Thudbook, due dates"
	}
	return name + ", due dates"
}

// itemMetrics gives figures per item in the exposition format of Prometheus, to
// whoever shows a feed's token.
func (d *Desk) itemMetrics(c echo.Context) error {
	token, ok := strings.CutPrefix(c.Request().Header.Get(echo.HeaderAuthorization), "Bearer ")
	if !ok {
		c.Response().Header().Set("WWW-Authenticate", "Bearer")
		return problem.New(problem.Unauthenticated, "This needs a token.", "Send the header Authorization: Bearer TOKEN; the page What is due makes one.")
	}
	v, err := d.surveyOf(c.Request().Context(), token)
	if err != nil {
		return err
	}
	set := prometheus.NewRegistry()
	if err := v.register(set); err != nil {
		return err
	}
	if err := v.registerLabs(c.Request().Context(), set); err != nil {
		return err
	}
	promhttp.HandlerFor(set, promhttp.HandlerOpts{}).ServeHTTP(c.Response(), c.Request())
	return nil
}

// register fills in the figures. Times are Unix timestamps in seconds, so that
// what is left is a matter of the query: the metric minus time().
func (v *survey) register(set *prometheus.Registry) error {
	vec := func(name, help string) *prometheus.GaugeVec {
		g := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: help}, []string{"lab", "item", "class", "title"})
		set.MustRegister(g)
		return g
	}
	strokes := vec("thudbook_item_strokes_since_service", "Strokes of an item since its last service.")
	service := vec("thudbook_item_service_due_timestamp_seconds", "When an item's service is due, by days or by the forecast of its strokes.")
	overdue := vec("thudbook_item_service_overdue", "1 while an item's service is overdue by strokes or days.")
	calibrated := vec("thudbook_item_calibration_due_timestamp_seconds", "When an item's next calibration is due.")
	for i := range v.due {
		x := &v.due[i]
		labels := []string{x.lab, x.item.String(), x.class, x.title}
		switch {
		case x.planned:
			strokes.WithLabelValues(labels...).Set(float64(x.strokes))
			late := 0.0
			if x.state.Level == page.Bad {
				late = 1
			}
			overdue.WithLabelValues(labels...).Set(late)
			if x.on != 0 {
				service.WithLabelValues(labels...).Set(float64(x.on) / 1000)
			}
		case x.calibrated:
			calibrated.WithLabelValues(labels...).Set(float64(x.on) / 1000)
		default:
			return fmt.Errorf("a date of %s is neither of a service nor of a calibration", x.title)
		}
	}
	return nil
}

// registerLabs fills in when a rig PC of each lab was last heard of. A lab whose
// agents were all withdrawn, or never spoke, has no figure.
func (v *survey) registerLabs(ctx context.Context, set *prometheus.Registry) error {
	seen := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thudbook_lab_last_seen_timestamp_seconds", Help: "When an agent of a lab last exchanged with this server."}, []string{"lab"})
	set.MustRegister(seen)
	agents, err := v.d.Agents.List(ctx, v.sc)
	if err != nil {
		return err
	}
	last := map[string]time.Time{}
	for i := range agents {
		a := &agents[i]
		if !a.Revoked.IsZero() || a.LastSeen.IsZero() {
			continue
		}
		for _, id := range a.Labs {
			name, err := v.names.Of(ctx, id)
			if err != nil {
				return err
			}
			if name != "" && v.sc.Allows(id) && a.LastSeen.After(last[name]) {
				last[name] = a.LastSeen
				seen.WithLabelValues(name).Set(float64(a.LastSeen.UnixMilli()) / 1000)
			}
		}
	}
	return nil
}
