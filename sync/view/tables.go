package view

import (
	"slices"

	"thudbook/metrics/score"
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
	byGap      = "gap"      // lab, time; of hits that stand and lack a channel
	byOpen     = "open"     // lab, time
	bySpecimen = "specimen" // lab, specimen, time
	byRig      = "rig"      // lab, rig, time
	bySource   = "source"   // hash
	byMap      = "map"      // rig, map, time; by the maps that a shot was read by
	byShot     = "shot"     // shot, time
	byName     = "name"     // lab, folded names
	byItem     = "item"     // item, time, stamp
	byItemOff  = "itemoff"  // the same, of what was withdrawn
	byCheck    = "check"    // rig, time; of system checks that stand
	byPad      = "pad"      // rig, folded pad, time; of system checks that stand
	bySecond   = "second"   // lab, rig, time of what is no stroke
	byPlace    = "place"    // rig, position, time, stamp

	perLab      = "lab"      // lab
	perDay      = "day"      // rig, lab, UTC day
	perCell     = "cell"     // lab, specimen, location, condition, target, speed
	perVoidCell = "voidcell" // lab, specimen, location, condition, target
)

// noSpeed and noTarget stand for a speed that is not known.
const (
	noSpeed  = 1<<32 - 1
	noTarget = 1<<32 - 1
)

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
	t := &index.Table[row]{
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
			{Name: byGap, Keys: shown(func(d *row, b *lab.Shot) [][]byte {
				if !gaps(d) {
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
			{Name: bySecond, Keys: shown(func(d *row, b *lab.Shot) [][]byte {
				if strikes(b) {
					return nil
				}
				return one(d.Lab[:], b.Rig[:], when(b.EffectiveAt))
			})},
			{Name: byCheck, Keys: checked(func(b *lab.Shot) [][]byte { return one(b.Rig[:], when(b.EffectiveAt)) })},
			{Name: byPad, Keys: checked(func(b *lab.Shot) [][]byte { return one(padKey(b.Rig, b.ReferencePad), when(b.EffectiveAt)) })},
			{Name: byMap, Keys: shown(func(d *row, b *lab.Shot) (out [][]byte) {
				for _, sum := range readBy(d, b) {
					out = append(out, kv.Join(b.Rig[:], sum[:], when(b.EffectiveAt)))
				}
				return out
			})},
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
	t.Indexes, t.Tallies = append(t.Indexes, wearIndex()), append(t.Tallies, wearTallies()...)
	return t
}

// waits says that a shot lacks what a campaign needs, and still counts.
func waits(d *doc[lab.Shot]) bool {
	return d.stands() && d.body().Kind == lab.ShotHit && !d.body().Assigned()
}

// gaps says that a scored hit which counts lacks a channel: one could not be read,
// or nothing gave the linear acceleration or the speed.
func gaps(d *doc[lab.Shot]) bool {
	if !d.stands() || d.body().Kind != lab.ShotHit || !d.body().Assigned() || d.Figures == nil {
		return false
	}
	f := &d.Figures.Figures
	return f.Error != "" || f.PeakG == nil || speedOf(d.body(), f) == nil || slices.Contains(f.Flags, string(score.ChannelUnreadable))
}

func countIf(yes bool, parts ...[]byte) []index.Count {
	if !yes {
		return nil
	}
	return []index.Count{{Key: kv.Join(parts...), N: 1}}
}

func day(t lab.Time) []byte { return kv.I64(t.Day()) }

// strikes says that the ram moved for a shot: for all but the second file of a
// stroke. Void and dry ones wear too.
func strikes(b *lab.Shot) bool { return b.Kind != lab.ShotSecondFile }

// stroke counts a shot on its rig.
func stroke(d *doc[lab.Shot]) []index.Count {
	b := d.body()
	if b == nil {
		return nil
	}
	return countIf(strikes(b), b.Rig[:], d.Lab[:], day(b.EffectiveAt))
}

// inCell counts a hit in its cell; of those that stand the speed is part of
// the key, so that any tolerance can be counted later.
func inCell(d *doc[lab.Shot], void bool) []index.Count {
	b := d.body()
	if b == nil || b.Kind != lab.ShotHit || lab.Fold(b.Specimen) == "" || d.stands() == void {
		return nil
	}
	target := uint32(noTarget)
	if b.TargetSpeedMS != nil {
		target = lab.MillimetresPerSecond(*b.TargetSpeedMS)
	}
	key := kv.Join(d.Lab[:], kv.Str(lab.Fold(b.Specimen)), kv.Str(lab.Fold(b.Location)), kv.Str(lab.Fold(b.Condition)), kv.U32(target))
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

// scoreRow is one score; the rows of a shot sort by turn, then by stamp.
type scoreRow struct {
	Lab    record.LabID `json:"l"`
	Stamp  Stamp        `json:"t"`
	Author string       `json:"a"`
	WallNS int64        `json:"w"`
	Score  lab.Score    `json:"s"`

	Map *record.Attachment `json:"m,omitempty"` // kept with the score
}

func scoreTable() *index.Table[scoreRow] {
	return &index.Table[scoreRow]{
		Name: "view.score",
		Key: func(s *scoreRow) []byte {
			return kv.Join(docKey(s.Score.Shot, s.Lab), kv.U32(s.Score.Turn), s.Stamp.key())
		},
	}
}

// voidRow says that a shot was made void, or counted again; kept for ever.
type voidRow struct {
	Lab    record.LabID `json:"l"`
	Stamp  Stamp        `json:"t"`
	Author string       `json:"a"`
	WallNS int64        `json:"w"`
	Void   lab.Void     `json:"v"`
}

// voidTime is when it was said, by the clock of who wrote it.
func voidTime(v *voidRow) []byte { return when(lab.At(utc(v.WallNS))) }

func voidTable() *index.Table[voidRow] {
	return &index.Table[voidRow]{
		Indexes: []index.Index[voidRow]{{Name: byTime, Keys: func(v *voidRow) [][]byte { return one(v.Lab[:], voidTime(v)) }}},
		Name:    "view.void",
		Key: func(v *voidRow) []byte {
			return kv.Join(docKey(v.Void.Shot, v.Lab), kv.U32(v.Void.Turn), v.Stamp.key())
		},
	}
}

// labRow is a lab that has records here.
type labRow struct {
	Lab   record.LabID `json:"l"`
	Stamp Stamp        `json:"t"`
	Name  string       `json:"n,omitempty"`

	Display  string `json:"d,omitempty"` // unit of pressures; "": never said
	Switched Stamp  `json:"w"`           // of the record that said so
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
