package api

import (
	"io"
	"mime"
	"net/http"
	"strconv"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// Bounds of one page of shots.
const (
	defaultShots = 50
	mostShots    = view.MaxLimit
)

// shotAnswer is one line of the list of shots.
type shotAnswer struct {
	ID            uuid.UUID             `json:"id"`
	File          string                `json:"file"`
	SHA256        record.Hash           `json:"sha256"`
	Lab           record.LabID          `json:"lab"`
	LabName       string                `json:"lab_name"`
	Rig           uuid.UUID             `json:"rig"`
	FiredAt       lab.Time              `json:"fired_at"`
	FiredFrom     string                `json:"fired_from"`
	Kind          string                `json:"kind"`
	Specimen      string                `json:"specimen"`
	Location      string                `json:"location"`
	Condition     string                `json:"condition"`
	TargetSpeedMS *float64              `json:"target_speed_m_s"`
	SpeedMS       *float64              `json:"speed_m_s"`
	ToAssign      bool                  `json:"to_assign"`
	Void          bool                  `json:"void"`
	Results       map[string]lab.Result `json:"results"`
	Flags         []lab.Flag            `json:"flags"`
}

func (a *API) shots(c echo.Context) error {
	ctx, sc := c.Request().Context(), door.Of(c).Scope
	if text := c.QueryParam("lab"); text != "" {
		in, err := a.Roster.Find(ctx, sc, text)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	limit, err := query(c, "limit", mostShots)
	if err != nil {
		return err
	}
	if limit == 0 {
		limit = defaultShots
	}
	list, err := a.Views.Shots(ctx, sc, view.ShotFilter{Specimen: c.QueryParam("specimen")}, view.Page{Limit: limit, After: c.QueryParam("after")})
	if err != nil {
		return err
	}
	names, err := a.Roster.Names(ctx, sc)
	if err != nil {
		return err
	}
	out := struct {
		Shots []shotAnswer `json:"shots"`
		Next  string       `json:"next"`
	}{Shots: make([]shotAnswer, 0, len(list.Rows)), Next: next(c, list.Next)}
	for i := range list.Rows {
		s, err := line(c, names, &list.Rows[i])
		if err != nil {
			return err
		}
		out.Shots = append(out.Shots, s)
	}
	return c.JSON(http.StatusOK, out)
}

func line(c echo.Context, names *roster.Names, r *view.ShotRow) (shotAnswer, error) {
	s := shotAnswer{ID: r.ID, File: r.Shot.FileName, SHA256: r.Shot.SourceSHA256, Lab: r.Lab, Rig: r.Shot.Rig,
		FiredAt: r.Shot.EffectiveAt, FiredFrom: r.Shot.EffectiveFrom, Kind: r.Shot.Kind,
		Specimen: r.Shot.Specimen, Location: r.Shot.Location, Condition: r.Shot.Condition,
		TargetSpeedMS: r.Shot.TargetSpeedMS, SpeedMS: r.SpeedMS(), Void: r.Void(),
		ToAssign: r.Shot.Kind == lab.ShotHit && !r.Void() && !r.Shot.Assigned(),
		Results:  figures(r.Figures), Flags: []lab.Flag{}}
	if r.Figures != nil {
		for _, code := range r.Figures.Flags {
			s.Flags = append(s.Flags, lab.Flag{Code: code})
		}
	}
	l, err := names.Lab(c.Request().Context(), r.Lab)
	if err != nil {
		return s, err
	}
	if l != nil {
		s.Lab, s.LabName = l.ID, l.Title()
	}
	return s, nil
}

// figures gives the results that lists carry, in the shape of the full ones.
func figures(f *view.Figures) map[string]lab.Result {
	out := map[string]lab.Result{}
	if f == nil {
		return out
	}
	for _, v := range []struct {
		name, unit string
		value      *float64
	}{
		{"peak_linear_acceleration", "g", f.PeakG}, {"severity_index", "", f.SeverityIndex}, {"hic15", "", f.HIC15}, {"hic36", "", f.HIC36},
		{"peak_angular_velocity", "rad/s", f.PeakAngularVelocityRadS}, {"peak_angular_acceleration", "rad/s2", f.PeakAngularAccelerationRS2},
		{"impact_speed", "m/s", f.ImpactSpeedMS}, {"ram_energy", "J", f.RamEnergyJ},
	} {
		if v.value != nil {
			out[v.name] = lab.Result{Value: *v.value, Unit: v.unit}
		}
	}
	return out
}

// scoreAnswer is one computation, in the shape of the score command.
type scoreAnswer struct {
	Engine     string                `json:"engine"`
	ComputedAt lab.Time              `json:"computed_at"`
	MapSHA256  *record.Hash          `json:"map_sha256"`       // null: the map was guessed
	Reason     string                `json:"reason,omitempty"` // of a person who had it computed by another map
	Error      *lab.Fault            `json:"error"`
	Flags      []lab.Flag            `json:"flags"`
	Results    map[string]lab.Result `json:"results"`

	Processing   *lab.Processing       `json:"processing,omitempty"`
	Calibrations []lab.UsedCalibration `json:"calibrations,omitempty"` // certificates that it rests on
}

type sensorAnswer struct {
	Position    string           `json:"position"`
	Item        uuid.UUID        `json:"item"`
	Serial      string           `json:"serial"`
	Calibration calibrationState `json:"calibration"`
}

// fullShot is a shot with everything known of it; error, flags and results are
// those of the newest computation.
type fullShot struct {
	shotAnswer
	SizeBytes  int64          `json:"size_bytes"`
	RecordedAt lab.Time       `json:"recorded_at"`
	Meta       lab.Meta       `json:"meta"`
	MetaTyped  []string       `json:"meta_typed"`
	Error      *lab.Fault     `json:"error"`
	Scores     []scoreAnswer  `json:"scores"` // newest first
	Sensors    []sensorAnswer `json:"sensors"`
	Source     string         `json:"source"`
	SourceHere bool           `json:"source_here"`
}

// find gives the shot of the address.
func (a *API) find(c echo.Context) (view.ShotRow, error) {
	id, err := parseID(c, "id", "shot")
	if err != nil {
		return view.ShotRow{}, err
	}
	return a.Views.Shot(c.Request().Context(), door.Of(c).Scope, id)
}

func (a *API) shot(c echo.Context) error {
	ctx, sc := c.Request().Context(), door.Of(c).Scope
	r, err := a.find(c)
	if err != nil {
		return err
	}
	names, err := a.Roster.Names(ctx, sc)
	if err != nil {
		return err
	}
	out := fullShot{RecordedAt: lab.At(r.RecordedAt), Meta: r.Shot.Meta, MetaTyped: append([]string{}, r.TypedFields()...),
		Scores: []scoreAnswer{}, Sensors: []sensorAnswer{}, Source: "/api/v1/shots/" + r.ID.String() + "/source"}
	if out.shotAnswer, err = line(c, names, &r); err != nil {
		return err
	}
	if at, ok := r.Attachment(lab.RoleSource); ok {
		out.SizeBytes = at.Size
	}
	if out.SourceHere, err = a.Evidence.Holds(ctx, r.Lab, r.Shot.SourceSHA256); err != nil {
		return err
	}
	if err := a.scored(c, &r, &out); err != nil {
		return err
	}
	if err := a.mounted(c, &r, &out); err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) scored(c echo.Context, r *view.ShotRow, out *fullShot) error {
	scores, err := a.Views.Scores(c.Request().Context(), door.Of(c).Scope, r.ID)
	for _, s := range scores {
		b := s.Score
		one := scoreAnswer{Engine: b.Engine, Reason: b.Reason, Processing: b.Processing, Calibrations: b.Calibrations, ComputedAt: lab.At(s.RecordedAt), Error: b.Error,
			Flags: append([]lab.Flag{}, b.Flags...), Results: b.Results}
		if one.Results == nil {
			one.Results = map[string]lab.Result{}
		}
		if b.MapSHA256 != (record.Hash{}) {
			one.MapSHA256 = &b.MapSHA256
		}
		out.Scores = append(out.Scores, one)
	}
	if len(out.Scores) > 0 {
		out.Error, out.Flags, out.Results = out.Scores[0].Error, out.Scores[0].Flags, out.Scores[0].Results
	}
	return err
}

// mounted adds what was mounted when the shot was fired, and flags what was
// out of calibration then.
func (a *API) mounted(c echo.Context, r *view.ShotRow, out *fullShot) error {
	more, err := a.Views.RigFlags(c.Request().Context(), door.Of(c).Scope, r.ID)
	if err != nil {
		return err
	}
	sensors, err := a.Views.SensorsOf(c.Request().Context(), door.Of(c).Scope, r.ID)
	out.Flags = append(append([]lab.Flag{}, out.Flags...), more...)
	for _, s := range sensors {
		one := sensorAnswer{Position: s.Mounting.Mounting.Position, Item: s.Mounting.Mounting.Item,
			Calibration: calibrationState{State: string(s.Calibration.State), Days: s.Calibration.Days}}
		if s.Item != nil {
			one.Serial = s.Item.Item.Serial
		}
		if k := s.Calibration.Calibration; k != nil {
			one.Calibration.due(&k.Calibration)
		}
		if s.Flag != nil {
			out.Flags = append(out.Flags, *s.Flag)
		}
		out.Sensors = append(out.Sensors, one)
	}
	return err
}

// source gives the acquisition's file byte for byte, always as a download.
func (a *API) source(c echo.Context) error {
	r, err := a.find(c)
	if err != nil {
		return err
	}
	f, size, err := a.Evidence.Of(r.Lab).Open(c.Request().Context(), r.Shot.SourceSHA256)
	if err != nil {
		return err
	}
	defer f.Close()
	h := c.Response().Header()
	h.Set(echo.HeaderContentDisposition, mime.FormatMediaType("attachment", map[string]string{"filename": r.Shot.FileName}))
	h.Set(echo.HeaderContentLength, strconv.FormatInt(size, 10))
	h.Set(echo.HeaderContentType, echo.MIMEOctetStream)
	h.Set(echo.HeaderContentSecurityPolicy, "sandbox; default-src 'none'")
	h.Set(echo.HeaderCacheControl, "no-store")
	if size == 0 {
		return c.NoContent(http.StatusOK)
	}
	c.Response().WriteHeader(http.StatusOK)
	if _, err := io.Copy(c.Response(), f); err != nil {
		if problem.Of(err) == problem.Damaged {
			panic(http.ErrAbortHandler) // a cut answer must not look whole
		}
		return err
	}
	return nil
}
