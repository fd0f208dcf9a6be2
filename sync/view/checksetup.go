package view

import (
	"context"
	"sort"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// CheckSetup is what a system check was fired with, besides its pad. A result on
// a pad depends on all of it, so that only checks of one setup make a series.
type CheckSetup struct {
	HeadForm, Neck, ImpactorFace uuid.UUID // items; zero: nothing is recorded as mounted there
	SpeedMMS                     uint32    // nominal speed in mm/s; zero: not stated
}

// Under says that limits of its pad are for a setup: for this one, or for all.
func (c CheckSetup) Under(k *lab.CheckLimits) bool {
	if k.Setup == nil {
		return true
	}
	of := CheckSetup{HeadForm: k.Setup.HeadForm, Neck: k.Setup.Neck, ImpactorFace: k.Setup.ImpactorFace}
	if v := k.Setup.TargetSpeedMS; v != nil {
		of.SpeedMMS = lab.MillimetresPerSecond(*v)
	}
	return c == of
}

// Stated is the setup as a fact names it.
func (c CheckSetup) Stated() *lab.CheckSetup {
	out := &lab.CheckSetup{HeadForm: c.HeadForm, Neck: c.Neck, ImpactorFace: c.ImpactorFace}
	if c.SpeedMMS != 0 {
		out.TargetSpeedMS = new(float64(c.SpeedMMS) / 1000)
	}
	return out
}

// CheckPlaces are the positions of a setup, in the order of its fields.
func CheckPlaces() []string {
	return []string{lab.ClassHeadForm, lab.ClassNeck, lab.ClassImpactorFace}
}

// Item is what sat at the n-th of CheckPlaces.
func (c *CheckSetup) Item(n int) uuid.UUID {
	return [...]uuid.UUID{c.HeadForm, c.Neck, c.ImpactorFace}[n]
}

// CheckSetup is that of a check that would be fired at a time at a target speed
// in m/s; nil: none is stated.
func (v *Reader) CheckSetup(ctx context.Context, sc scope.Scope, rig uuid.UUID, t lab.Time, speedMS *float64) (c CheckSetup, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		at, err := v.set.setupsOf(r, sc, rig)
		if err != nil {
			return err
		}
		c, err = at.at(t, speedMS)
		return err
	})
	return c, err
}

// setups finds what checks of a rig were fired with. What was mounted at the
// places of a setup is read once, for there are many checks.
type setups struct {
	s      *Set
	r      kv.Reader
	sc     scope.Scope
	places [][]*doc[lab.Mounting] // by CheckPlaces, each in the order of time
}

func (s *Set) setupsOf(r kv.Reader, sc scope.Scope, rig uuid.UUID) (*setups, error) {
	out := &setups{s: s, r: r, sc: sc}
	for _, place := range CheckPlaces() {
		at := placeKey(&lab.Mounting{Rig: rig, Position: place})
		var all []*doc[lab.Mounting]
		for d, err := range s.mountings.ScanIndex(r, byPlace, at, kv.PrefixEnd(at), false) {
			if err != nil {
				return nil, err
			}
			if sc.Allows(d.Lab) {
				all = append(all, d)
			}
		}
		out.places = append(out.places, all)
	}
	return out, nil
}

// of is the setup of a check.
func (c *setups) of(d *doc[lab.Shot]) (CheckSetup, error) {
	return c.at(d.body().EffectiveAt, d.body().TargetSpeedMS)
}

// has says that a check may be seen and was fired with a setup.
func (c *setups) has(setup CheckSetup, d *doc[lab.Shot]) (bool, error) {
	if !c.sc.Allows(d.Lab) {
		return false, nil
	}
	of, err := c.of(d)
	return of == setup, err
}

func (c *setups) at(t lab.Time, speedMS *float64) (out CheckSetup, err error) {
	if speedMS != nil {
		out.SpeedMMS = lab.MillimetresPerSecond(*speedMS)
	}
	for i, to := range []*uuid.UUID{&out.HeadForm, &out.Neck, &out.ImpactorFace} {
		if *to, err = c.there(i, t); err != nil {
			return out, err
		}
	}
	return out, nil
}

// there is the item at a place at a time; zero when none was, or when it had
// been put elsewhere since.
func (c *setups) there(place int, t lab.Time) (uuid.UUID, error) {
	all := c.places[place]
	n := sort.Search(len(all), func(i int) bool { return all[i].body().EffectiveAt > t })
	if n == 0 || all[n-1].body().Item == uuid.Nil {
		return uuid.Nil, nil
	}
	d := all[n-1]
	if gone, err := c.s.left(c.r, c.sc, d, t); gone || err != nil {
		return uuid.Nil, err
	}
	return d.body().Item, nil
}
