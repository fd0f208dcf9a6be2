package view

import (
	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Names of indexes and tallies.
const (
	byTime     = "time"     // lab, time
	byArrival  = "arrival"  // lab, stamp
	byAssign   = "assign"   // lab, time
	byOpen     = "open"     // lab, time
	bySpecimen = "specimen" // lab, specimen, time
	byRig      = "rig"      // lab, rig, time
	bySource   = "source"   // hash
	byShot     = "shot"     // shot, time
	byName     = "name"     // lab, folded names
	byCalib    = "calib"    // lab
	byItem     = "item"     // item, time, stamp
	byPlace    = "place"    // rig, position, time, stamp

	perLab      = "lab"      // lab
	perDay      = "day"      // rig, lab, UTC day
	perCell     = "cell"     // lab, specimen, location, condition, target, speed
	perVoidCell = "voidcell" // lab, specimen, location, condition, target
)

// noSpeed stands for a speed that is not known.
const noSpeed = 1<<32 - 1

func shotTable() *index.Table[doc[lab.Shot]] {
	type row = doc[lab.Shot]
	shown := func(f func(*row, *lab.Shot) [][]byte) func(*row) [][]byte {
		return func(d *row) [][]byte {
			if b := d.body(); b != nil {
				return f(d, b)
			}
			return nil
		}
	}
	return &index.Table[row]{
		Name: "view.shot",
		Key:  keyOf[lab.Shot],
		Indexes: []index.Index[row]{
			{Name: byTime, Keys: shown(func(d *row, b *lab.Shot) [][]byte { return one(d.Lab[:], when(b.EffectiveAt)) })},
			{Name: byArrival, Keys: shown(func(d *row, _ *lab.Shot) [][]byte { return one(d.Lab[:], d.Made.Stamp.key()) })},
			{Name: byAssign, Keys: shown(func(d *row, b *lab.Shot) [][]byte {
				if !waits(d) {
					return nil
				}
				return one(d.Lab[:], when(b.EffectiveAt))
			})},
			{Name: bySpecimen, Keys: shown(func(d *row, b *lab.Shot) [][]byte {
				if lab.Fold(b.Specimen) == "" {
					return nil
				}
				return one(d.Lab[:], kv.Str(lab.Fold(b.Specimen)), when(b.EffectiveAt))
			})},
			{Name: byRig, Keys: shown(func(d *row, b *lab.Shot) [][]byte { return one(d.Lab[:], b.Rig[:], when(b.EffectiveAt)) })},
			{Name: bySource, Keys: shown(func(_ *row, b *lab.Shot) [][]byte { return one(b.SourceSHA256[:]) })},
		},
		Tallies: []index.Tally[row]{
			{Name: perLab, Of: func(d *row) []index.Count { return countIf(d.shown(), d.Lab[:]) }},
			{Name: byAssign, Of: func(d *row) []index.Count { return countIf(waits(d), d.Lab[:]) }},
			{Name: perDay, Of: stroke},
			{Name: perCell, Of: func(d *row) []index.Count { return inCell(d, false) }},
			{Name: perVoidCell, Of: func(d *row) []index.Count { return inCell(d, true) }},
		},
	}
}

// waits says that a shot lacks what a campaign needs, and still counts.
func waits(d *doc[lab.Shot]) bool {
	return d.stands() && d.body().Kind == lab.ShotHit && !d.body().Assigned()
}

func countIf(yes bool, parts ...[]byte) []index.Count {
	if !yes {
		return nil
	}
	return []index.Count{{Key: kv.Join(parts...), N: 1}}
}

func day(t lab.Time) []byte { return kv.I64(t.Day()) }

// stroke counts every shot on its rig, void and dry ones too: all of them wear.
func stroke(d *doc[lab.Shot]) []index.Count {
	b := d.body()
	if b == nil {
		return nil
	}
	return countIf(true, b.Rig[:], d.Lab[:], day(b.EffectiveAt))
}

// inCell counts a hit in its cell; of those that stand the speed is part of
// the key, so that any tolerance can be counted later.
func inCell(d *doc[lab.Shot], void bool) []index.Count {
	b := d.body()
	if b == nil || b.Kind != lab.ShotHit || lab.Fold(b.Specimen) == "" || b.TargetSpeedMS == nil || d.stands() == void {
		return nil
	}
	key := cellPrefix(d.Lab, b.Specimen, b.Location, b.Condition, *b.TargetSpeedMS)
	if void {
		return countIf(true, key)
	}
	speed := uint32(noSpeed)
	var f *Figures
	if d.Figures != nil {
		f = &d.Figures.Figures
	}
	if v := speedOf(b, f); v != nil {
		speed = lab.MillimetresPerSecond(*v)
	}
	return countIf(true, key, kv.U32(speed))
}

func cellPrefix(of record.LabID, specimen, location, condition string, targetMS float64) []byte {
	return kv.Join(of[:], kv.Str(lab.Fold(specimen)), kv.Str(lab.Fold(location)), kv.Str(lab.Fold(condition)),
		kv.U32(lab.MillimetresPerSecond(targetMS)))
}

// scoreRow is one score; the rows of a shot sort by stamp.
type scoreRow struct {
	Lab    record.LabID `json:"l"`
	Stamp  Stamp        `json:"t"`
	Author string       `json:"a"`
	WallNS int64        `json:"w"`
	Score  lab.Score    `json:"s"`
}

func scoreTable() *index.Table[scoreRow] {
	return &index.Table[scoreRow]{
		Name: "view.score",
		Key:  func(s *scoreRow) []byte { return kv.Join(docKey(s.Score.Shot, s.Lab), s.Stamp.key()) },
	}
}

func sightingTable() *index.Table[doc[lab.Sighting]] {
	type row = doc[lab.Sighting]
	open := func(d *row) bool { return d.shown() && d.Mark == nil }
	wears := func(d *row) bool { return d.shown() && d.Mark != nil && d.Mark.Count }
	return &index.Table[row]{
		Name: "view.sighting",
		Key:  keyOf[lab.Sighting],
		Indexes: []index.Index[row]{
			{Name: byTime, Keys: func(d *row) [][]byte { return timed(d, d.shown()) }},
			{Name: byOpen, Keys: func(d *row) [][]byte { return timed(d, open(d)) }},
			{Name: byShot, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.body().Shot[:], when(d.body().EffectiveAt))
			}},
			{Name: byRig, Keys: func(d *row) [][]byte {
				if !wears(d) {
					return nil
				}
				return one(d.Lab[:], d.body().Rig[:], when(d.body().EffectiveAt))
			}},
		},
		Tallies: []index.Tally[row]{
			{Name: byOpen, Of: func(d *row) []index.Count { return countIf(open(d), d.Lab[:]) }},
			{Name: perDay, Of: func(d *row) []index.Count {
				if !wears(d) {
					return nil
				}
				return countIf(true, d.body().Rig[:], d.Lab[:], day(d.body().EffectiveAt))
			}},
		},
	}
}

func timed(d *doc[lab.Sighting], yes bool) [][]byte {
	if !yes {
		return nil
	}
	return one(d.Lab[:], when(d.body().EffectiveAt))
}

func quarantineTable() *index.Table[doc[lab.Quarantine]] {
	type row = doc[lab.Quarantine]
	open := func(d *row) bool { return d.shown() && (d.Mark == nil || d.Mark.Lifted) }
	return &index.Table[row]{
		Name: "view.quarantine",
		Key:  keyOf[lab.Quarantine],
		Indexes: []index.Index[row]{
			{Name: byTime, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.Lab[:], when(received(d)))
			}},
			{Name: byOpen, Keys: func(d *row) [][]byte {
				if !open(d) {
					return nil
				}
				return one(d.Lab[:], when(received(d)))
			}},
			{Name: bySource, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.body().SourceSHA256[:])
			}},
		},
		Tallies: []index.Tally[row]{
			{Name: byOpen, Of: func(d *row) []index.Count { return countIf(open(d), d.Lab[:]) }},
		},
	}
}

// received orders the list of quarantined bytes; it dates nothing.
func received(d *doc[lab.Quarantine]) lab.Time { return lab.Time(d.Made.WallNS / 1e6) }

// named declares a table of documents that are listed by name within a lab.
func named[B any](name kv.Table, of func(*B) [][]byte, more ...index.Index[doc[B]]) *index.Table[doc[B]] {
	byNames := index.Index[doc[B]]{Name: byName, Keys: func(d *doc[B]) [][]byte {
		if !d.stands() {
			return nil
		}
		return one(append([][]byte{d.Lab[:]}, of(d.body())...)...)
	}}
	return &index.Table[doc[B]]{Name: name, Key: keyOf[B], Indexes: append([]index.Index[doc[B]]{byNames}, more...)}
}

func itemNames(i *lab.Item) [][]byte {
	return [][]byte{kv.Str(lab.Fold(i.Class)), kv.Str(lab.Fold(i.Serial))}
}
func rigNames(r *lab.Rig) [][]byte           { return [][]byte{kv.Str(lab.Fold(r.Name))} }
func campaignNames(c *lab.Campaign) [][]byte { return [][]byte{kv.Str(lab.Fold(c.Name))} }

func itemTable() *index.Table[doc[lab.Item]] {
	return named("view.item", itemNames, index.Index[doc[lab.Item]]{
		Name: byCalib,
		Keys: func(d *doc[lab.Item]) [][]byte {
			if !d.stands() || !d.body().CalibrationRequired {
				return nil
			}
			return one(d.Lab[:])
		},
	})
}

// dated declares a table of facts about an item, in the order of time and stamp.
func dated[B any](name kv.Table, of func(*B) (uuid.UUID, lab.Time)) *index.Table[doc[B]] {
	return &index.Table[doc[B]]{Name: name, Key: keyOf[B], Indexes: []index.Index[doc[B]]{{
		Name: byItem,
		Keys: func(d *doc[B]) [][]byte {
			if !d.stands() {
				return nil
			}
			item, at := of(d.body())
			if item == uuid.Nil {
				return nil
			}
			return one(item[:], when(at), d.Made.Stamp.key())
		},
	}}}
}

func serviceOf(s *lab.Service) (uuid.UUID, lab.Time)         { return s.Item, s.EffectiveAt }
func calibrationOf(c *lab.Calibration) (uuid.UUID, lab.Time) { return c.Item, c.EffectiveAt }
func mountingOf(m *lab.Mounting) (uuid.UUID, lab.Time)       { return m.Item, m.EffectiveAt }

func mountingTable() *index.Table[doc[lab.Mounting]] {
	t := dated("view.mounting", mountingOf)
	t.Indexes = append(t.Indexes, index.Index[doc[lab.Mounting]]{
		Name: byPlace,
		Keys: func(d *doc[lab.Mounting]) [][]byte {
			if !d.stands() {
				return nil
			}
			return one(placeKey(d.body()), when(d.body().EffectiveAt), d.Made.Stamp.key())
		},
	})
	return t
}

func placeKey(m *lab.Mounting) []byte { return kv.Join(m.Rig[:], kv.Str(lab.Fold(m.Position))) }

// labRow is a lab that has records here.
type labRow struct {
	Lab   record.LabID `json:"l"`
	Stamp Stamp        `json:"t"`
	Name  string       `json:"n,omitempty"`
}

func labTable() *index.Table[labRow] {
	return &index.Table[labRow]{Name: "view.lab", Key: func(l *labRow) []byte { return l.Lab[:] }}
}

// oddRow is a record that cannot be used.
type oddRow struct {
	Lab    record.LabID `json:"l"`
	Stamp  Stamp        `json:"t"`
	Kind   record.Kind  `json:"k"`
	Author string       `json:"a"`
	Why    string       `json:"y"`
}

func oddTable() *index.Table[oddRow] {
	return &index.Table[oddRow]{
		Name: "view.odd",
		Key:  func(o *oddRow) []byte { return kv.Join(o.Lab[:], o.Stamp.key()) },
	}
}
