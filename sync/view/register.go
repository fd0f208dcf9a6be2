package view

import (
	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
)

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
	return named("view.item", itemNames)
}

// dated declares a table of facts about an item, in the order of time and stamp.
func dated[B any](name kv.Table, of func(*B) (uuid.UUID, lab.Time), more ...index.Index[doc[B]]) *index.Table[doc[B]] {
	keys := func(d *doc[B]) [][]byte {
		item, at := of(d.body())
		if item == uuid.Nil {
			return nil
		}
		return one(item[:], when(at), d.Made.Stamp.key())
	}
	return &index.Table[doc[B]]{Name: name, Key: keyOf[B], Indexes: append([]index.Index[doc[B]]{
		{Name: byItem, Keys: func(d *doc[B]) [][]byte {
			if !d.stands() {
				return nil
			}
			return keys(d)
		}},
		{Name: byItemOff, Keys: func(d *doc[B]) [][]byte {
			if !d.shown() || d.stands() {
				return nil
			}
			return keys(d)
		}}}, more...)}
}

func serviceOf(s *lab.Service) (uuid.UUID, lab.Time)         { return s.Item, s.EffectiveAt }
func calibrationOf(c *lab.Calibration) (uuid.UUID, lab.Time) { return c.Item, c.EffectiveAt }
func mountingOf(m *lab.Mounting) (uuid.UUID, lab.Time)       { return m.Item, m.EffectiveAt }

func mountingTable() *index.Table[doc[lab.Mounting]] {
	t := dated("view.mounting", mountingOf, inTime(mountingTime))
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
