package desk

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"slices"
	"strings"
	"time"

	"thudbook/agent/intake"
	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
	"thudbook/metrics/score"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// savedMap gives the channel map that holds now, nil without one; broken says why
// there is one that cannot be read.
func (d *Desk) savedMap() (m *intake.Map, broken string) {
	m, err := d.Intake.MapForPosts()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, ""
	case err != nil:
		n := faultNotice(err)
		return nil, n.Text
	}
	return m, ""
}

// startFrom gives the map that the set-up begins with: the saved one where the
// file can be read by it, else the proposal with what the saved one says of the
// rest. notes are what a person should look at.
func startFrom(ctx context.Context, name string, b []byte, saved, proposed *chanmap.Map, unsure []string) (m chanmap.Map, notes []string, fits bool) {
	held := *saved
	held.Channels = slices.Clone(saved.Channels)
	if _, err := format.Read(ctx, bytes.NewReader(b), format.Options{Name: name, Map: &held, Size: int64(len(b))}); err == nil {
		held.Channels = slices.Clone(saved.Channels)
		for _, c := range proposed.Channels {
			if !binds(saved, c.Column) {
				notes = append(notes, "Column "+c.Column+" is in the file, and the saved map leaves it out. To read it, fill in “One more column”.")
			}
		}
		return held, notes, true
	}
	m = *proposed
	m.Complete, m.Ram = saved.Complete, saved.Ram
	m.Processing.ResampleHz, m.Processing.BaselineMS = saved.Processing.ResampleHz, cmp.Or(saved.Processing.BaselineMS, m.Processing.BaselineMS)
	m.Channels = slices.Clone(proposed.Channels)
	for i := range m.Channels {
		for _, c := range saved.Channels {
			if c.Column == m.Channels[i].Column {
				m.Channels[i] = c
			}
		}
	}
	return m, append([]string{"The saved map does not fit this file, so its columns and its time are proposed anew. See below what saving would change."}, unsure...), false
}

// binds says that a map reads a column, by its head with or without the unit.
func binds(m *chanmap.Map, column string) bool {
	bare := func(s string) string { s, _ = chanmap.SplitUnit(s); return s }
	return m.Time.Column == column || slices.ContainsFunc(m.Channels, func(c chanmap.Channel) bool { return strings.EqualFold(bare(c.Column), bare(column)) })
}

// replaced says what saving the draft changes of the map that holds now. key is
// what a person agrees to with it, "" where nothing is lost.
func (d *Desk) replaced(m *chanmap.Map) (r page.SetupReplaces) {
	saved, broken := d.savedMap()
	switch {
	case broken != "":
		r.Map, r.Changes = "rig.toml", []string{"all of it: it cannot be read (" + broken + ")"}
	case saved != nil:
		r.Map, r.Changes = cmp.Or(saved.Map.Name, saved.Name), present.MapChanges(saved.Map, m)
	}
	if len(r.Changes) > 0 {
		sum := sha256.Sum256([]byte(strings.Join(r.Changes, "\n")))
		r.Key = hex.EncodeToString(sum[:8])
	}
	return r
}

// trial scores the file of the set-up by the map of the draft, as a shot would be.
func trial(ctx context.Context, x *drafted) page.SetupTrial {
	m := x.channels
	rep := score.Score(ctx, bytes.NewReader(x.bytes), score.Options{Name: x.sample, Map: &m, ResultsOnly: true})
	s := present.Shot(&view.ShotRow{}, []view.ScoreRow{{Score: *scoring.Body(scoring.Job{}, &rep)}}, time.Local, "")
	return page.SetupTrial{Headline: s.Headline, Flags: s.Flags, Errors: s.Errors}
}

// lookAgain gives the draft with what lies in its folder now: files may have come
// since it was chosen. A rig that is set up begins with the folder that is watched.
// A folder that is away is told where it is chosen.
func (d *Desk) lookAgain() drafted {
	x := d.draft()
	if all := d.Intake.Folders(); x.folder == "" && !d.Setup.Given && len(all) > 0 {
		x.rig, x.folder = d.Rig(), all[0].Dir
		if _, _, err := intake.TryFolder(x.folder); err == nil {
			d.setDraft(x)
		}
	}
	if x.folder == "" {
		return x
	}
	n, newest, err := intake.TryFolder(x.folder)
	if err != nil {
		return x
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.drafted.folder == x.folder {
		d.drafted.newest, d.drafted.files = newest, filesInIt(n)
	}
	return d.drafted
}
