package intake

import (
	"cmp"
	"context"
	"errors"
	"io"
	"slices"

	"github.com/google/uuid"

	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
)

// SavedMap is a channel map that a shot can be computed by again.
type SavedMap struct {
	*Map
	Current  bool     // files of this rig are read by it now
	LastUsed lab.Time // when the newest shot that was read by it was fired; zero: none yet
}

// SavedMaps lists the channel maps of a rig: those that hold now at this agent, then
// those by which its shots were read, the last used first. One whose bytes are not
// here, or that cannot be read, is left out.
func (in *Intake) SavedMaps(ctx context.Context, rig uuid.UUID) (out []SavedMap, err error) {
	add := func(m *Map) *SavedMap {
		i := slices.IndexFunc(out, func(s SavedMap) bool { return s.Hash == m.Hash })
		if i < 0 {
			i, out = len(out), append(out, SavedMap{Map: m})
		}
		return &out[i]
	}
	if rig == in.opt.Rig {
		for _, m := range in.currentMaps() {
			add(m).Current = true
		}
	}
	used, err := in.opt.Views.Reader(in.opt.Store).MapsUsed(ctx, scope.All(), rig)
	for _, u := range used {
		m, err := in.StoredMap(ctx, &u.Attachment)
		if err != nil {
			in.opt.Log.Warn("a channel map of earlier shots is not offered", "map", u.SHA256.String(), "error", err)
			continue
		}
		add(m).LastUsed = u.LastUsed
	}
	return out, err
}

// currentMaps are those by which files are read now; one that cannot be read is told
// of elsewhere.
func (in *Intake) currentMaps() (out []*Map) {
	if m, err := in.MapForPosts(); err == nil && m != nil {
		out = append(out, m)
	}
	for _, f := range in.watched() {
		look := func() (*Map, error) { return mapLyingIn(f.dir) }
		if f.maps.required {
			look = func() (*Map, error) { return mapFor("", f.maps.path).look(nil) }
		}
		if m, err := look(); err == nil && m != nil {
			out = append(out, m)
		}
	}
	return out
}

// StoredMap reads a map that is kept beside a shot.
func (in *Intake) StoredMap(ctx context.Context, a *record.Attachment) (*Map, error) {
	r, _, err := in.opt.Blobs.Open(ctx, a.SHA256)
	if err != nil {
		return nil, err
	}
	b, err := io.ReadAll(io.LimitReader(r, maxMapBytes))
	if err = errors.Join(err, r.Close()); err != nil {
		return nil, err
	}
	m, err := ParseMap(cmp.Or(a.Name, "rig.toml"), b)
	if err == nil && m.Hash != a.SHA256 {
		err = problem.New(problem.Damaged, "The stored bytes of the channel map are not those that were kept.", "Run thudbook verify on this store.")
	}
	return m, err
}

// Remapped is a shot as another channel map reads it. Nothing of it is recorded yet.
type Remapped struct {
	Row    view.ShotRow
	Before *lab.Score // that holds now; nil: none
	After  *lab.Score
	by     *Map
	kept   []lab.Flag // of taking in
}

// TryMap computes a shot again by another channel map, with the certificates that
// are on record for it now, as a shot that is taken in by that map would be. A map
// by which nothing in the file can be read is a problem.
func (in *Intake) TryMap(ctx context.Context, shot uuid.UUID, by *Map) (*Remapped, error) {
	read := in.opt.Views.Reader(in.opt.Store)
	row, err := read.Shot(ctx, scope.All(), shot)
	if err != nil {
		return nil, err
	}
	x := &Remapped{Row: row, by: by}
	scores, err := read.Scores(ctx, scope.All(), shot)
	if err != nil {
		return nil, err
	}
	if len(scores) > 0 {
		x.Before = &scores[0].Score
		x.kept = scoring.Kept(x.Before, lab.FlagMapUnreadable, lab.FlagCalibrationUnread)
	}
	if _, err := in.mapAttachment(ctx, by); err != nil {
		return nil, err
	}
	job := scoring.JobOf(&row)
	job.Map = by.Hash
	sensors, err := read.SensorsOf(ctx, scope.All(), shot)
	if err != nil {
		return nil, err
	}
	job.Calibrations = scoring.InForceOf(sensors, row.Shot.EffectiveAt)
	rep, b, err := in.scoreOrPanic(ctx, job)
	if err != nil {
		return nil, err
	}
	if err := unusableMap(&rep); err != nil {
		return nil, err
	}
	x.After = b
	x.After.Turn = row.ScoreTurn + 1
	return x, nil
}

// unusableMap says why a computation is not worth having.
func unusableMap(rep *score.Report) error {
	if rep.Error == nil || anythingReadable(rep) && rep.Error.Code != score.Internal {
		return nil
	}
	what, fix := "The shot could not be computed by this channel map because of a mistake in the program.", "Report it with the log, the file and the map."
	if f, ok := fault.As(rep.Error); ok && f.Code != score.Internal {
		what, fix = "This channel map reads nothing in the file of the shot: "+f.What, f.Fix
	}
	return &problem.Error{Code: problem.Invalid, Where: "map", What: what, Fix: fix, Err: rep.Error}
}

// Flags are those that the result would carry.
func (x *Remapped) Flags() []lab.Flag { return append(slices.Clone(x.kept), x.After.Flags...) }

// RecordMap makes the result the one that holds, with the reason; the map is kept
// with it. Where another result came since it was tried, nothing is recorded.
func (in *Intake) RecordMap(ctx context.Context, x *Remapped, reason, author string) error {
	b := *x.After
	b.Reason = reason
	scoring.Carry(&b, x.kept)
	dr, err := scoreDraft(&b, nil)
	if err != nil {
		return firstProblem(err)
	}
	a, err := in.mapAttachment(ctx, x.by)
	if err != nil {
		return err
	}
	dr.Author, dr.Attachments = cmp.Or(author, dr.Author), []record.Attachment{a}
	read := in.opt.Views.Reader(in.opt.Store)
	_, err = in.Record(ctx, x.Row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		now, err := view.Within(read, tx).Shot(ctx, scope.All(), x.Row.ID)
		if err == nil && now.Scored() != x.Row.Scored() {
			err = problem.New(problem.Conflict, "The shot was computed again meanwhile; nothing was saved.", "Look at what changes now, then say it again.")
		}
		return []ledger.Draft{dr}, err
	})
	return err
}
