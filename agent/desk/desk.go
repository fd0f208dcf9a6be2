// Package desk is the operator's side of the agent: the screens on loopback and
// the JSON API beside them.
package desk

import (
	"context"
	_ "embed"
	"errors"
	"log/slog"
	"net/http"
	"path/filepath"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/device"
	"thudbook/agent/intake"
	"thudbook/agent/shift"
	"thudbook/sync/alarm"
	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/manual"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

//go:embed openapi.json
var openAPI []byte

// refreshSeconds is how often the overview asks whether something changed.
const refreshSeconds = 2

// LinkState is how the exchange with the server goes.
type LinkState struct {
	Sync              page.SyncState
	PendingBytes      int64
	Detail            SyncDetail
	Lab               string // name of the lab that the agent writes for
	LabID             string // its id; empty: the agent is not enrolled
	ServerFingerprint string
	OwnFingerprint    string
	KeyChanging       bool // a new key waits for the server to take it
	EnrolledAt        time.Time
}

// SyncDetail is what the API tells of the exchange beyond the screen.
type SyncDetail struct {
	Kinds       []SyncShare `json:"pending"`               // in the order in which they are sent
	Cause       string      `json:"cause,omitempty"`       // of stuck, for programs
	StuckSince  *time.Time  `json:"stuck_since,omitempty"` // by this computer's clock
	Notices     []string    `json:"notices,omitempty"`     // what does not stop the rest
	ClockOffset *float64    `json:"clock_offset_s,omitempty"`
	Clock       string      `json:"clock_warning,omitempty"`
	File        *SyncFile   `json:"file,omitempty"` // that moves now
}

// SyncShare is a kind of pending things: records, sources, photos, videos.
type SyncShare struct {
	Kind  string `json:"kind"`
	Count int64  `json:"count"`
	Bytes int64  `json:"bytes"`
}

// SyncFile is how much of an attachment the server has.
type SyncFile struct {
	SHA256 string `json:"sha256"`
	Done   int64  `json:"done"`
	Size   int64  `json:"size"`
}

// Options of a desk; all but Metrics are required.
type Options struct {
	Intake  *intake.Intake
	Ledger  *ledger.Ledger
	Store   kv.Store
	Blobs   blob.Store
	Views   *view.Set
	Link    func(context.Context) LinkState
	Enrol   func(ctx context.Context, server, code string) error
	NewKey  func() (string, error) // has the agent change its key
	Alarms  *alarm.Book
	Shift   *shift.Shift        // who works at the rig
	Gate    *device.Gate        // for tablets and phones
	Lab     func() record.LabID // that is written for
	Wake    func()              // asks for an exchange: something was recorded
	LabName func() string       // empty: not known
	Mended  func() error        // what stopped the store lately and is over; nil: nothing
	Rig     func() string       // name of the rig
	Setup   Setup
	Data    string
	Limit   int64 // of a posted file
	Reserve int64
	Size    func() int64 // of the store, in bytes
	Version string
	Log     *slog.Logger
	Observe func(method, route string, status int, took time.Duration)
	Metrics http.Handler
}

// Desk answers the operator.
type Desk struct {
	Options
	read   *view.Reader
	traces tracer
	once   *httpkit.Onces // forms that were carried out
	photos *present.Photos

	unsents unsents // forms that were refused because nobody was signed in

	mu      sync.Mutex
	drafted drafted           // set-up that is not saved yet
	picked  map[string]string // last values of the assign form, offered again
}

// New makes the handler of the agent's screens and API.
func New(o Options) (*Desk, *echo.Echo, error) {
	if o.Intake == nil || o.Ledger == nil || o.Store == nil || o.Blobs == nil || o.Views == nil || o.Link == nil || o.Enrol == nil || o.NewKey == nil || o.Alarms == nil || o.Wake == nil || o.Shift == nil || o.Gate == nil || o.Lab == nil || o.Size == nil || o.LabName == nil || o.Mended == nil || o.Log == nil {
		return nil, nil, errors.New("desk: a required option is missing")
	}
	read := o.Views.Reader(o.Store)
	d := &Desk{Options: o, read: read, traces: tracer{scorer: scoring.Scorer{Blobs: o.Blobs}, read: read}, picked: map[string]string{}, once: httpkit.NewOnces(),
		photos: &present.Photos{Read: read, Blobs: func(record.LabID) blob.Store { return o.Blobs }, Cache: picture.NewCache(filepath.Join(o.Data, "shown"))}}
	inspecting := page.PathShots + "/:id/inspect"
	e := httpkit.New(httpkit.Options{
		Log: o.Log, Hosts: httpkit.LoopbackHosts(), Metrics: o.Metrics, Observe: o.Observe,
		BodyLimits: map[string]int64{"POST /api/v1/shots": o.Limit + 4<<20, "POST " + page.PostSetupFile: sampleLimit + 1<<20,
			"POST " + inspecting: photoBody, "POST " + inspecting + "/draft": photoBody,
			"POST " + page.PathShots + "/:id" + page.PathPhotos: photoBody, "POST " + page.PathSpecimens + "/:name" + page.PathPhotos: photoBody},
		Frame: d.errorFrame,
		Ready: d.ready,
	})
	d.routes(e)
	return d, e, nil
}

func (d *Desk) routes(e *echo.Echo) {
	e.GET("/api/openapi.json", func(c echo.Context) error { return c.Blob(http.StatusOK, echo.MIMEApplicationJSON, openAPI) })
	api := e.Group("/api/v1")
	api.POST("/shots", d.postShot)
	api.GET("/shots", d.listShots)
	api.GET("/shots/:id", d.getShot)
	api.GET("/shots/:id/source", d.getSource)
	api.GET("/shots/:id/traces.bin", d.getTraces)
	api.POST("/shots/:id/meta", d.postMeta)
	api.GET("/quarantine", d.listQuarantine)
	api.GET("/intake", d.getIntake)
	api.GET("/sync", d.getSync)
	api.POST("/key", d.postKey)
	api.GET("/alarms", d.listAlarms)
	api.POST("/alarms/:id/seen", d.postSeen)

	e.GET(page.PathHome, d.next)
	e.GET(page.PathNext, d.next)
	e.POST(page.PostConfirm, d.confirm)
	e.POST(page.PostOrder, d.order)
	e.POST(page.PostTakenOut, d.takenOut)
	e.POST(page.PostUnit, d.setUnit)
	e.GET(page.PathResult, d.result)
	e.POST(page.PostEnd, d.end)
	e.POST(page.PostAccept, d.accept)
	e.POST(page.PostVoid, d.voidResult)
	e.POST(page.PostBind, d.bindShot)
	e.GET(page.PathOverview, d.overview)
	e.GET(page.PathDay, d.day)
	e.GET(page.PathDay+".csv", d.dayCSV)
	e.GET(page.PathShots+".csv", d.shotsCSV)
	e.GET(page.PathStrokes, d.strokes)
	e.POST(page.PathStrokes, d.dryStrokes)
	e.POST(page.PostCounter, d.readCounter)
	e.POST(page.PostWithdraw, d.takeBack)
	e.GET(page.PathDrift, d.drift)
	e.GET(page.PathShots, d.shots)
	e.GET(page.PathShots+"/:id", d.shot)
	e.GET(page.PathShots+"/:id/traces.bin", d.getTraces)
	e.GET(page.PathShots+"/:id/traces.csv", d.getTracesCSV)
	e.GET(page.PathShots+"/:id/shock.csv", d.shockCSV)
	e.POST(page.PathShots+"/:id/assign", d.assign)
	e.POST(page.PathShots+"/:id/correct", d.correct)
	e.POST(page.PathShots+"/:id/fired", d.fired)
	e.POST(page.PathShots+"/:id/void", d.void)
	e.POST(page.PathShots+"/:id/settle", d.settle)
	e.POST(page.PathShots+"/:id/stated", d.stated)
	e.GET(page.PathShots+"/:id/map", d.anotherMap)
	e.POST(page.PathShots+"/:id/map", d.useAnotherMap)
	d.inspectionRoutes(e)
	d.photoRoutes(e)
	d.logRoutes(e)
	e.GET(page.PathAssign, d.toAssign)
	e.GET(page.PathQuarantine, d.quarantine)
	e.GET(page.PathQuarantine+"/:id/file", d.quarantineFile)
	e.POST(page.PathQuarantine+"/:id/off", d.quarantineOff)
	e.GET(page.PathSeen, d.seenAgain)
	e.POST(page.PathSeen+"/:id", d.settleSeen)
	e.GET(page.PathSetup, d.setup)
	e.POST(page.PostSetupRig, d.setupRig)
	e.POST(page.PostSetupFile, d.setupFile)
	e.POST(page.PostSetupMap, d.setupMap)
	e.GET(page.PathReady, d.readyToShoot)
	e.GET(page.PathCheck, d.check)
	e.POST(page.PostSecond, d.secondFile)
	e.POST(page.PostWhole, d.wholeFile)
	e.POST(page.PostWentOn, d.wentOn)
	e.GET(page.PathRig, d.rig)
	e.GET(page.PathCalendar, d.bookings)
	e.POST(page.PostMount, d.mount)
	e.POST(page.PostUnmount, d.unmount)
	e.POST(page.PostMistaken, d.mistaken)
	e.POST(page.PostRigCert, d.certificate)
	e.POST(page.PostAbsent, d.setAbsent)
	e.POST(page.PostPresent, d.withdrawn(lab.KindAbsent, page.PostPresent, "present"))
	e.POST(page.PostRated, d.setRated)
	e.POST(page.PostNotRated, d.withdrawn(lab.KindRated, page.PostNotRated, "notrated"))
	e.GET(page.PathConnect, d.connect)
	e.POST(page.PostConnect, d.enrol)
	e.POST(page.PostNewKey, d.newKey)
	e.POST(page.PostTryNow, d.tryNow)
	e.GET(page.PathAlarms, d.alarms)
	e.POST(page.PathAlarms+"/:id/seen", d.seeAlarm)
	d.deviceRoutes(e) // before the people: a device has a seat
	d.personRoutes(e)
	e.GET(page.PathManual, d.manual)
	e.GET(page.PathManual+"/:page", d.manual)
	e.GET(page.PathLicences, d.licences)
}

func (d *Desk) id(c echo.Context) (uuid.UUID, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return id, problem.New(problem.NotFound, "There is nothing under this id.", "Check the link, or look it up in the list.")
	}
	return id, nil
}

func (d *Desk) manual(c echo.Context) error {
	name := c.Param("page")
	f := d.frame(c, "Manual", page.PathManual)
	p, err := manual.Page(name, f, present.ManualFlags()...)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, p)
}
