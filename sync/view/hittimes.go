package view

import (
	"fmt"
	"math"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// hitTimes are the times of a hit that plans limit.
type hitTimes struct {
	specimen  string // folded
	condition string
	out, rest *float64 // s; nil: not known
	later     bool     // a hit on the specimen that was recorded before is dated after this one
}

// timesOf gives the times of a hit. Its rest is what its record says, or the time
// since the last hit on the specimen that the records know where that is shorter:
// one that was assigned or arrived later counts. What a person corrected holds.
func (s *Set) timesOf(r kv.Reader, sc scope.Scope, d *doc[lab.Shot]) (*hitTimes, error) {
	b := d.body()
	t := &hitTimes{specimen: lab.Fold(b.Specimen), condition: b.Condition, out: b.OutOfChamberS, rest: b.SinceLastImpactS}
	if _, corrected := d.Fields["since_last_impact_s"]; corrected && t.rest != nil || !sc.Allows(d.Lab) {
		return t, nil
	}
	key := kv.Join(d.Lab[:], kv.Str(t.specimen))
	at := kv.Join(key, when(b.EffectiveAt))
	last, err := s.firstHit(r, key, at, true, nil)
	if err != nil {
		return nil, err
	}
	for _, x := range last {
		if v := float64(b.EffectiveAt-x) / 1000; t.rest == nil || v < *t.rest {
			t.rest = &v
		}
	}
	if t.rest != nil {
		return t, nil
	}
	after, err := s.firstHit(r, kv.Join(key, when(b.EffectiveAt+1)), kv.PrefixEnd(key), false, &d.Made.Stamp)
	t.later = len(after) > 0
	return t, err
}

// firstHit gives the times of the first hit on a specimen between two keys of
// bySpecimen that has a file, and of the first of which none came; with before
// only of those that were recorded before it.
func (s *Set) firstHit(r kv.Reader, from, to []byte, back bool, before *Stamp) (at []lab.Time, err error) {
	for o, err := range s.shots.ScanIndex(r, bySpecimen, from, to, back) {
		if err != nil {
			return nil, err
		}
		if o.body().Kind == lab.ShotHit && (before == nil || o.Made.Stamp.Compare(*before) < 0) {
			at = append(at, o.body().EffectiveAt)
			break
		}
	}
	for o, err := range s.unfiled.ScanIndex(r, bySpecimen, from, to, back) {
		if err != nil {
			return nil, err
		}
		if before == nil || o.Made.Stamp.Compare(*before) < 0 {
			at = append(at, o.body().EffectiveAt)
			break
		}
	}
	return at, nil
}

// flags holds the times against a plan.
func (t *hitTimes) flags(k *lab.Campaign) (out []lab.Flag) {
	say := func(code, format string, args ...any) {
		out = append(out, lab.Flag{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	if most := k.MostOutOfChamberS; most > 0 {
		switch {
		case t.out != nil && *t.out > most:
			say(lab.FlagOutTooLong, "it was out of the chamber for %s; the campaign allows %s", inWords(*t.out), inWords(most))
		case t.out == nil && k.Conditioned(t.condition):
			say(lab.FlagTimerUnknown, "nobody said when the specimen left the chamber, or the clock was set back since; the campaign allows %s", inWords(most))
		}
	}
	if least := k.LeastRestS; least > 0 {
		switch {
		case t.rest != nil && *t.rest < least:
			say(lab.FlagRestTooShort, "it was hit %s after its last hit; the campaign asks for %s", inWords(*t.rest), inWords(least))
		case t.rest == nil && t.later:
			say(lab.FlagTimerUnknown, "the last hit on the specimen is dated after this one, so its rest is not known; the campaign asks for %s", inWords(least))
		}
	}
	return out
}

// inWords is a time in words, to the second.
func inWords(s float64) string {
	n := int64(math.Round(min(max(s, 0), 1e12)))
	switch {
	case n < 60:
		return fmt.Sprintf("%d s", n)
	case n%60 == 0:
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}
