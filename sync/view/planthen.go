package view

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// JudgedBy are the fields of a campaign by which its hits are judged.
func JudgedBy() []string {
	return []string{"specimens", "cells", "acceptance_limits", "most_out_of_chamber_s", "least_rest_s"}
}

// planned is a campaign as it holds now and as it stood when a hit was recorded.
// Both are functions of the set of records, whatever the order of arrival.
type planned struct {
	id      uuid.UUID
	now     *lab.Campaign
	then    *lab.Campaign // nil: the campaign was made later
	changed lab.Time      // the newest change between the two; zero: none
}

func campaignTable() *index.Table[doc[lab.Campaign]] {
	return named("view.campaign", campaignNames, index.Index[doc[lab.Campaign]]{
		Name: bySpecimen,
		Keys: func(d *doc[lab.Campaign]) (out [][]byte) {
			if !d.stands() {
				return nil
			}
			var names []string // also those that it began with: it may have let one go
			for _, s := range slices.Concat(d.body().Specimens, d.Made.Body.Specimens) {
				if s = lab.Fold(s); s != "" {
					names = append(names, s)
				}
			}
			slices.Sort(names)
			for _, s := range slices.Compact(names) {
				out = append(out, kv.Join(d.Lab[:], kv.Str(s)))
			}
			return out
		},
	})
}

// plansOf gives the campaigns of a shot's lab that have its specimen, now or when
// they were made.
func (s *Set) plansOf(r kv.Reader, d *doc[lab.Shot]) (out []planned, err error) {
	name := lab.Fold(d.body().Specimen)
	if name == "" {
		return nil, nil
	}
	key := kv.Join(d.Lab[:], kv.Str(name))
	for k, err := range s.campaigns.ScanIndex(r, bySpecimen, key, kv.PrefixEnd(key), false) {
		if err != nil {
			return nil, err
		}
		p := planned{id: k.UID, now: k.body()}
		if p.then, p.changed, err = s.planAt(r, k, d.Made.Stamp); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// planAt is a campaign as its edits had made it before a stamp, and when it was
// changed last since; nil when it was not there yet.
func (s *Set) planAt(r kv.Reader, d *doc[lab.Campaign], at Stamp) (then *lab.Campaign, changed lab.Time, err error) {
	if d.Made.Stamp.Compare(at) > 0 {
		return nil, 0, nil
	}
	values := map[string][]byte{}
	for _, name := range JudgedBy() {
		if _, edited := d.Fields[name]; !edited {
			continue
		}
		var before []*editRow
		prefix := fieldPrefix(d.UID, d.Lab, lab.KindCampaign, name)
		for e, err := range s.edits.Scan(r, prefix, kv.PrefixEnd(prefix), false) {
			switch {
			case err != nil:
				return nil, 0, err
			case e.Stamp.Compare(at) <= 0:
				before = append(before, e)
			default:
				changed = max(changed, lab.Time(e.WallNS/1e6))
			}
		}
		if len(before) > 0 {
			values[name] = settle(before).Value
		}
	}
	if changed == 0 {
		return d.body(), 0, nil
	}
	b, _, err := lab.Overlay(d.Made.Body, values)
	return &b, changed, err
}

// PlanChange says that a campaign was changed in what its hits are judged by.
type PlanChange struct {
	Fields []string  // of JudgedBy, those that were changed after a hit
	Last   time.Time // when the newest of these changes was recorded
	Hits   int       // on its specimens, void ones too, that were recorded before it; at most MaxLimit
	More   bool      // there are more such hits
}

// PlanChanged says what of a campaign was changed after hits on its specimens
// had been recorded; nil: nothing.
func (v *Reader) PlanChanged(ctx context.Context, sc scope.Scope, campaign uuid.UUID) (out *PlanChange, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.campaigns, sc, campaign)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindCampaign, campaign)
		}
		last := map[string]*editRow{}
		var newest *editRow
		for _, name := range JudgedBy() {
			prefix := fieldPrefix(d.UID, d.Lab, lab.KindCampaign, name)
			for e, err := range v.set.edits.Scan(r, prefix, kv.PrefixEnd(prefix), false) {
				if err != nil {
					return err
				}
				if last[name] = e; newest == nil || e.Stamp.Compare(newest.Stamp) > 0 {
					newest = e
				}
			}
		}
		if newest == nil {
			return nil
		}
		c := &PlanChange{Last: utc(newest.WallNS)}
		oldest, err := v.set.before(r, d, newest.Stamp, c)
		if err != nil || oldest == nil {
			return err
		}
		for _, name := range JudgedBy() {
			if e := last[name]; e != nil && e.Stamp.Compare(*oldest) > 0 {
				c.Fields = append(c.Fields, name)
			}
		}
		out = c
		return nil
	})
	return out, err
}

// before counts the hits on the specimens of a campaign that were recorded after
// it was made and before a stamp, and gives the earliest stamp among them.
func (s *Set) before(r kv.Reader, k *doc[lab.Campaign], t Stamp, c *PlanChange) (oldest *Stamp, err error) {
	for _, specimen := range k.body().Specimens {
		key := kv.Join(k.Lab[:], kv.Str(lab.Fold(specimen)))
		for d, err := range s.shots.ScanIndex(r, bySpecimen, key, kv.PrefixEnd(key), false) {
			if err != nil {
				return nil, err
			}
			at := d.Made.Stamp
			if d.body().Kind != lab.ShotHit || at.Compare(k.Made.Stamp) < 0 || at.Compare(t) > 0 {
				continue
			}
			if c.Hits == MaxLimit {
				c.More = true
				return oldest, nil
			}
			if c.Hits++; oldest == nil || at.Compare(*oldest) < 0 {
				oldest = &at
			}
		}
	}
	return oldest, nil
}
