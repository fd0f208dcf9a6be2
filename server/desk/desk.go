// Package desk is the server's screens: sign-in, labs, shots, equipment,
// campaigns, agents, accounts. Every screen but sign-in stands behind the door,
// and every read goes through the caller's scope.
package desk

import (
	"cmp"
	"context"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/server/door"
	"thudbook/server/enrol"
	"thudbook/server/evidence"
	"thudbook/server/feed"
	"thudbook/server/ownkey"
	"thudbook/server/pool"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/ledger"
	"thudbook/sync/people"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

// Options of a desk; all but Name and Notices are required.
type Options struct {
	Door       *door.Door
	Views      *view.Reader
	Roster     *roster.Roster
	Register   *register.Register
	Agents     *enrol.Registry
	Accounts   *account.Store
	Evidence   *evidence.Store
	Feeds      *feed.Store
	Tell       *tell.Teller
	Pool       *pool.Pool
	OwnKey     *ownkey.Keys
	People     *people.Book             // at the rigs
	Pictures   *picture.Cache           // copies of photos for the screen
	Name       string                   // of the server, for the heading
	Notices    func() []string          // what an administrator should know of the store
	Rebuilding func() ledger.Rebuilding // how far the lists are from whole
	Version    string
	Now        func() time.Time
	Log        *slog.Logger
}

// Desk answers people.
type Desk struct {
	Options
	zone   *time.Location
	once   *httpkit.Onces
	keys   keyring
	codes  *handover
	traces *tracer
	photos *present.Photos
	works  *works
}

// New makes the desk.
func New(o Options) *Desk {
	return &Desk{Options: o, zone: time.Local, once: httpkit.NewOnces(), codes: newHandover(o.Now), traces: newTracer(o.Evidence, o.Views),
		photos: &present.Photos{Read: o.Views, Blobs: o.Evidence.Of, Cache: o.Pictures}, works: newWorks(o.Now)}
}

// Close ends what still goes on for a screen, and waits for it.
func (d *Desk) Close() { d.works.close() }

// Routes adds the screens to e.
func (d *Desk) Routes(e *echo.Echo) {
	e.GET(page.PathSignIn, d.signInScreen)
	e.POST(page.PostSignIn, d.signIn)
	in := d.Door.Screens
	e.POST(page.PathSignOut, d.signOut, in)
	e.GET(page.PathPassword, d.passwordScreen, in)
	e.POST(page.PostPassword, d.password, in)
	e.GET(page.PathHome, d.overview, in)
	e.GET(page.PathShots, d.shots, in)
	e.GET(page.PathShots+"/:id", d.shot, in)
	e.GET(page.PathShots+"/:id/traces.bin", d.tracesOf, in)
	e.GET(page.PathShots+"/:id/traces.csv", d.tracesCSV, in)
	e.GET(page.PathShots+"/:id/shock.csv", d.shockCSV, in)
	e.POST(page.PathShots+"/:id/correct", d.correct, in)
	e.POST(page.PathShots+"/:id/void", d.void, in)
	e.POST(page.PathShots+"/:id/settle", d.settle, in)
	e.POST(page.PathShots+"/:id/stated", d.stated, in)
	e.GET(page.PathEquipment, d.equipment, in)
	e.POST(page.PostItem, d.postItem, in)
	e.POST(page.PostService, d.postService, in)
	e.POST(page.PostCalibration, d.postCalibration, in)
	e.POST(page.PostMounting, d.postMounting, in)
	d.care(e, in)
	d.reviewRoutes(e, in)
	d.messageRoutes(e, in)
	d.documentRoutes(e, in)
	d.lateRoutes(e, in)
	d.poolRoutes(e, in)
	d.inspectionRoutes(e, in)
	d.calendarRoutes(e, in)
	e.GET(page.PathChecks, d.checks, in)
	e.POST(page.PostCheckLimits, d.postCheckLimits, in)
	e.GET(page.PathCampaigns, d.campaigns, in)
	e.POST(page.PostCampaign, d.postCampaign, in)
	e.GET(page.PathCampaigns+"/:id", d.campaign, in)
	e.POST(page.PathCampaigns+"/:id/limits", d.postCampaignLimits, in)
	e.POST(page.PathCampaigns+"/:id/when", d.postCampaignWhen, in)
	d.rigPeople(e, in)
	e.GET(page.PathAgents, d.agents, in)
	e.POST(page.PostCode, d.postCode, in)
	e.POST(page.PostLostKey, d.postLostKey, in)
	e.POST(page.PostRevoke, d.postRevoke, in)
	e.POST(page.PostAnnounceKey, d.postAnnounceKey, in, door.Administrators)
	e.POST(page.PostUseKey, d.postUseKey, in, door.Administrators)
	e.GET(page.PathAlarms, d.alarms, in)
	e.POST(page.PathAlarms+"/:id/seen", d.seeAlarm, in)
	e.GET(page.PathAccounts, d.accounts, in, door.Administrators)
	e.POST(page.PostAccount, d.postAccount, in, door.Administrators)
	e.POST(page.PostRole, d.postRole, in, door.Administrators)
	e.POST(page.PostAccess, d.postAccess, in, door.Administrators)
	e.GET(page.PathLabs, d.labs, in, door.Administrators)
	e.POST(page.PostLab, d.postLab, in, door.Administrators)
	e.GET(page.PathManual, d.manual, in)
	e.GET(page.PathManual+"/:page", d.manual, in)
	e.GET(page.PathLicences, d.licences, in)
}

// caller is who asks, with the labs of their scope by name.
type caller struct {
	door.Caller
	names  *roster.Names
	unseen int // alarms of the labs that they keep
}

func (d *Desk) caller(c echo.Context) (caller, error) {
	p := door.Of(c)
	names, err := d.Roster.Names(c.Request().Context(), p.Scope)
	if err != nil {
		return caller{Caller: p}, err
	}
	alarms, err := d.Agents.Alarms(c.Request().Context(), p.KeepScope())
	unseen := 0
	for i := range alarms {
		if alarms[i].SeenMS == 0 {
			unseen++
		}
	}
	return caller{Caller: p, names: names, unseen: unseen}, err
}

// keeps lists the labs that the caller may change.
func (p *caller) keeps() []roster.Lab {
	var out []roster.Lab
	for _, l := range p.names.All() {
		if p.MayKeep(l.ID) {
			out = append(out, l)
		}
	}
	return out
}

func choices(labs []roster.Lab) []page.Choice {
	out := make([]page.Choice, 0, len(labs))
	for i := range labs {
		out = append(out, page.Choice{Value: labs[i].ID.String(), Text: labs[i].Title()})
	}
	return out
}

// place is the lab named by a form or filter, within the caller's scope.
func (d *Desk) place(ctx context.Context, p *caller, text string) (roster.Place, error) {
	return d.Roster.Find(ctx, p.Scope, text)
}

// frame makes what every screen shares.
func (d *Desk) frame(p *caller, title, current string) page.Frame {
	f := page.Frame{Title: title, Place: d.Name, Version: d.Version, Now: d.Now().In(d.zone),
		Nav: page.ServerNav(current, p.Administrator, p.unseen), User: &page.User{Name: cmp.Or(p.Name, p.Login), Roles: p.roles()}}
	f.Notices = present.Rebuilding(d.Rebuilding())
	if p.Administrator && d.Notices != nil {
		for _, n := range d.Notices() {
			f.Notices = append(f.Notices, present.Notice(n))
		}
	}
	return f
}

// roles says in words what the caller is.
func (p *caller) roles() string {
	if p.Administrator {
		return "administrator"
	}
	var out []string
	for _, l := range p.names.All() {
		if r, ok := p.Roles[l.ID]; ok {
			out = append(out, string(r)+" in "+l.Title())
		}
	}
	if len(out) == 0 {
		return "no role yet"
	}
	return strings.Join(out, ", ")
}

// ErrorFrame is the frame of an error screen; it names nothing to strangers.
func (d *Desk) ErrorFrame(c echo.Context) page.Frame {
	bare := page.Frame{Title: "Error", Place: d.Name, Version: d.Version, Now: d.Now().In(d.zone)}
	if _, ok := door.Known(c); !ok {
		return bare
	}
	p, err := d.caller(c)
	if err != nil {
		return bare
	}
	return d.frame(&p, "Error", "")
}

func (d *Desk) show(c echo.Context, p page.Page) error { return httpkit.Page(c, http.StatusOK, p) }
