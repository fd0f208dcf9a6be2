package desk

import (
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/chart"
	"thudbook/web/present"
)

// shotJSON is a shot as the API gives it.
type shotJSON struct {
	ID            uuid.UUID             `json:"id"`
	File          string                `json:"file"`
	SHA256        string                `json:"sha256"`
	Size          int64                 `json:"size_bytes"`
	MapSHA256     string                `json:"map_sha256,omitempty"` // absent: guessed
	EffectiveAt   lab.Time              `json:"effective_at"`
	EffectiveFrom string                `json:"effective_from"`
	ReceivedAt    time.Time             `json:"received_at"`
	Lab           uuid.UUID             `json:"lab"`
	Rig           uuid.UUID             `json:"rig"`
	Kind          string                `json:"kind"`
	ToAssign      bool                  `json:"to_assign"`
	Void          bool                  `json:"void,omitempty"`
	Meta          lab.Meta              `json:"meta"`
	Typed         []string              `json:"typed,omitempty"` // fields of meta that a person wrote
	Engine        string                `json:"engine,omitempty"`
	Flags         []lab.Flag            `json:"flags"`
	Results       map[string]lab.Result `json:"results"`
	Error         *lab.Fault            `json:"error"`
	Faults        []lab.Fault           `json:"faults,omitempty"`
}

func shotBody(r *view.ShotRow, s *lab.Score) shotJSON {
	b := shotJSON{ID: r.ID, File: r.Shot.FileName, SHA256: r.Shot.SourceSHA256.String(), EffectiveAt: r.Shot.EffectiveAt, EffectiveFrom: r.Shot.EffectiveFrom,
		ReceivedAt: r.RecordedAt, Lab: r.Lab, Rig: r.Shot.Rig, Kind: r.Shot.Kind, ToAssign: present.Waiting(r), Void: r.Void(), Meta: r.Shot.Meta,
		Typed: r.TypedFields(), Flags: []lab.Flag{}, Results: map[string]lab.Result{}}
	if a, ok := r.Attachment(lab.RoleSource); ok {
		b.Size = a.Size
	}
	if by := r.Map(); by != (record.Hash{}) {
		b.MapSHA256 = by.String()
	}
	if s != nil {
		b.Engine, b.Error, b.Faults = s.Engine, s.Error, s.Faults
		if s.Flags != nil {
			b.Flags = s.Flags
		}
		if s.Results != nil {
			b.Results = s.Results
		}
	}
	return b
}

func (d *Desk) listShots(c echo.Context) error {
	ctx := c.Request().Context()
	limit := 50
	if s := c.QueryParam("limit"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > 500 {
			return problem.New(problem.Invalid, fmt.Sprintf("The limit %q is not a whole number from 1 to 500.", s), "Leave it out, or give such a number.")
		}
		limit = n
	}
	list, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{Specimen: c.QueryParam("specimen")}, view.Page{Limit: limit, After: c.QueryParam("before")})
	if err != nil {
		return err
	}
	body := struct {
		Shots []shotJSON `json:"shots"`
		Next  string     `json:"next,omitempty"`
	}{Shots: make([]shotJSON, 0, len(list.Rows)), Next: list.Next}
	for i := range list.Rows {
		b, err := d.shotJSON(c, &list.Rows[i])
		if err != nil {
			return err
		}
		body.Shots = append(body.Shots, b)
	}
	return c.JSON(http.StatusOK, body)
}

func (d *Desk) shotJSON(c echo.Context, r *view.ShotRow) (shotJSON, error) {
	ctx := c.Request().Context()
	scores, err := d.read.Scores(ctx, d.scope(), r.ID)
	if err != nil {
		return shotJSON{}, err
	}
	more, err := d.read.RigFlags(ctx, d.scope(), r.ID)
	b := shotBody(r, nil)
	if len(scores) > 0 {
		b = shotBody(r, &scores[0].Score)
	}
	b.Flags = append(b.Flags, more...)
	return b, err
}

func (d *Desk) row(c echo.Context) (*view.ShotRow, error) {
	id, err := d.id(c)
	if err != nil {
		return nil, err
	}
	r, err := d.read.Shot(c.Request().Context(), d.scope(), id)
	return &r, err
}

func (d *Desk) getShot(c echo.Context) error {
	r, err := d.row(c)
	if err != nil {
		return err
	}
	b, err := d.shotJSON(c, r)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, b)
}

func (d *Desk) getSource(c echo.Context) error {
	r, err := d.row(c)
	if err != nil {
		return err
	}
	return d.serveBlob(c, r.Shot.SourceSHA256, r.Shot.FileName)
}

// tracesOf are the traces of the shot that a path names.
func (d *Desk) tracesOf(c echo.Context) (*chart.Traces, error) {
	r, err := d.row(c)
	if err != nil {
		return nil, err
	}
	t, why, err := d.traces.of(c.Request().Context(), r)
	if err == nil && t == nil {
		err = problem.New(problem.NotFound, why, "Look at the shot's errors for the place in the file.")
	}
	return t, err
}

func (d *Desk) getTraces(c echo.Context) error {
	t, err := d.tracesOf(c)
	if err != nil {
		return err
	}
	return chart.ServeTraces(c.Response(), c.Request(), *t)
}

func (d *Desk) getTracesCSV(c echo.Context) error {
	t, err := d.tracesOf(c)
	if err != nil {
		return err
	}
	return chart.ServeCSV(c.Response(), c.Request(), "traces-"+c.Param("id"), *t)
}

func (d *Desk) postMeta(c echo.Context) error {
	r, err := d.row(c)
	if err != nil {
		return err
	}
	b, err := io.ReadAll(c.Request().Body)
	if err != nil {
		return err
	}
	meta, kind, err := lab.ParseMeta(b)
	if err != nil {
		return err
	}
	if _, err := d.Intake.Assign(c.Request().Context(), intake.Assignment{Shot: r.ID, Meta: meta, Kind: kind, Author: lab.AuthorMeta}); err != nil {
		return err
	}
	return d.getShot(c)
}

func (d *Desk) listQuarantine(c echo.Context) error {
	list, err := d.read.Quarantine(c.Request().Context(), d.scope(), false, view.Page{Limit: listAtOnce, After: c.QueryParam("before")})
	if err != nil {
		return err
	}
	type file struct {
		ID     uuid.UUID `json:"id"`
		File   string    `json:"file"`
		SHA256 string    `json:"sha256"`
		Size   int64     `json:"size_bytes"`
		At     time.Time `json:"at"`
		Error  lab.Fault `json:"error"`
	}
	body := struct {
		Files []file `json:"files"`
		Next  string `json:"next,omitempty"`
	}{Files: make([]file, 0, len(list.Rows)), Next: list.Next}
	for i := range list.Rows {
		q := &list.Rows[i].Quarantine
		body.Files = append(body.Files, file{list.Rows[i].ID, q.FileName, q.SourceSHA256.String(), q.Size, list.Rows[i].RecordedAt, q.Error})
	}
	return c.JSON(http.StatusOK, body)
}

func (d *Desk) getIntake(c echo.Context) error {
	type waiting struct {
		Name  string    `json:"name"`
		Size  int64     `json:"size_bytes"`
		Since time.Time `json:"since"`
		Why   string    `json:"why"`
		Fix   string    `json:"fix,omitempty"`
	}
	type folder struct {
		Dir     string     `json:"dir"`
		Map     string     `json:"map,omitempty"`
		Looked  *time.Time `json:"looked,omitempty"`
		Problem string     `json:"problem,omitempty"`
		Fix     string     `json:"fix,omitempty"`
		Waiting []waiting  `json:"waiting"`
	}
	body := struct {
		Paused  string   `json:"paused,omitempty"`
		Free    int64    `json:"disk_free_bytes"`
		Folders []folder `json:"folders"`
	}{Folders: []folder{}}
	if err := d.ready(c.Request().Context()); err != nil {
		body.Paused = sentence(err)
	}
	body.Free, _ = intake.DiskFree(d.Data)
	for _, f := range d.Intake.Folders() {
		out := folder{Dir: f.Dir, Map: f.Map, Problem: f.Problem, Fix: f.Fix, Looked: moment(f.Looked), Waiting: []waiting{}}
		for _, w := range f.Waiting {
			out.Waiting = append(out.Waiting, waiting(w))
		}
		body.Folders = append(body.Folders, out)
	}
	return c.JSON(http.StatusOK, body)
}

func (d *Desk) getSync(c echo.Context) error {
	l := d.Link(c.Request().Context())
	s := l.Sync
	return c.JSON(http.StatusOK, struct {
		State    string     `json:"state"`
		Server   string     `json:"server,omitempty"`
		Records  int        `json:"pending_records"`
		Bytes    int64      `json:"pending_bytes"`
		Oldest   *time.Time `json:"oldest_pending,omitempty"`
		Exchange *time.Time `json:"last_exchange,omitempty"`
		Next     *time.Time `json:"next_try,omitempty"`
		Stuck    string     `json:"stuck,omitempty"`
		Key      string     `json:"key_fingerprint"`
		Changing bool       `json:"key_changing,omitempty"`
		SyncDetail
	}{s.State.Word, s.Server, s.PendingRecords, l.PendingBytes, moment(s.OldestPending), moment(s.LastExchange), moment(s.NextTry), s.Stuck, l.OwnFingerprint, l.KeyChanging, l.Detail})
}

// moment leaves the zero time out of the JSON.
func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
