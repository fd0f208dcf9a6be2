package view

import (
	"math"
	"slices"
	"strings"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// unmounted says in words at which positions of its channel map nothing was
// mounted when a hit or a system check was fired; "" when everywhere was something,
// or when its score names no positions, or the rig has no register. What the rig is said not to have is left out.
func (s *Set) unmounted(r kv.Reader, sc scope.Scope, d *doc[lab.Shot]) (string, error) {
	b := d.body()
	if b.Kind != lab.ShotHit && b.Kind != lab.ShotSystemCheck {
		return "", nil
	}
	var left []string
	key := docKey(d.UID, d.Lab)
	for x, err := range s.scores.Scan(r, key, kv.PrefixEnd(key), true) {
		if err != nil {
			return "", err
		}
		left = slices.Clone(x.Score.Positions)
		break // the one that holds
	}
	if len(left) == 0 {
		return "", nil
	}
	there := map[string]bool{}
	mounted, err := s.mountedAt(r, sc, b.Rig, b.EffectiveAt)
	if err != nil {
		return "", err
	}
	if len(mounted) == 0 {
		// A rig of which nothing was ever entered keeps no register: that is said on
		// Ready, not of every shot.
		if last, err := s.lastChange(r, sc, b.Rig, math.MaxInt64); last == 0 || err != nil {
			return "", err
		}
	}
	for _, m := range mounted {
		there[lab.Fold(m.body().Position)] = true
	}
	for a, err := range s.absent.ScanIndex(r, byItem, b.Rig[:], kv.Join(b.Rig[:], when(b.EffectiveAt+1)), false) {
		if err != nil {
			return "", err
		}
		if sc.Allows(a.Lab) {
			there[lab.Fold(a.body().Position)] = true
		}
	}
	left = slices.DeleteFunc(left, func(name string) bool { return there[lab.Fold(name)] })
	if len(left) == 0 {
		return "", nil
	}
	return "by the register nothing was mounted at " + strings.Join(left, ", "), nil
}
