package desk

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// farAboveSpeed is how many times the highest speed observed on a ram a typed
// target may be before the operator is asked whether it was mistyped.
const farAboveSpeed = 1.5

// mostChoices bounds what a field of a free shot proposes.
const mostChoices = 200

// planned is what the campaigns on this computer know of specimens and locations.
type planned struct {
	specimens, locations []string
	of                   map[string][]string // folded specimen to the locations planned for it
}

func (d *Desk) planned(ctx context.Context) (p planned, err error) {
	list, err := d.read.Campaigns(ctx, d.scope(), view.Page{Limit: view.MaxLimit})
	p.of = map[string][]string{}
	for i := range list.Rows {
		k := &list.Rows[i].Campaign
		var at []string
		for j := range k.Cells {
			at = addName(at, k.Cells[j].Location)
			p.locations = addName(p.locations, k.Cells[j].Location)
		}
		for _, s := range k.Specimens {
			p.specimens = addName(p.specimens, s)
			for _, l := range at {
				p.of[lab.Fold(s)] = addName(p.of[lab.Fold(s)], l)
			}
		}
	}
	return p, err
}

func addName(to []string, name string) []string {
	if name == "" || spelled(to, name) != "" {
		return to
	}
	return append(to, name)
}

// spelled gives a name as a list spells it, "" when it is not in there.
func spelled(in []string, name string) string {
	i := slices.IndexFunc(in, func(s string) bool { return lab.Fold(s) == lab.Fold(name) })
	if i < 0 {
		return ""
	}
	return in[i]
}

// choices proposes what the plans name.
func (p planned) choices(into map[string][]page.Choice) {
	for field, names := range map[string][]string{"specimen": p.specimens, "location": p.locations} {
		for _, n := range names[:min(len(names), mostChoices)] {
			into[field] = append(into[field], page.Choice{Value: n, Text: n})
		}
	}
}

// freeDoubts spells a free hit as the plans do, and asks about what a person
// would wonder at: nothing of it stops a hit that was meant.
func (d *Desk) freeDoubts(ctx context.Context, e *lab.Expected) (map[string]string, error) {
	doubts := map[string]string{}
	p, err := d.planned(ctx)
	if err != nil {
		return nil, err
	}
	if s := spelled(p.specimens, e.Specimen); s != "" {
		e.Specimen = s
	}
	if s := spelled(p.locations, e.Location); s != "" {
		e.Location = s
	}
	if at := p.of[lab.Fold(e.Specimen)]; len(at) > 0 && e.Location != "" && spelled(at, e.Location) == "" {
		doubts["location"] = fmt.Sprintf("The plan of %s has no location %q; it has %s.", e.Specimen, e.Location, strings.Join(at, ", "))
	}
	if doubts["specimen"], err = d.outDoubt(ctx, e.Specimen, e.EffectiveAt); err != nil {
		return nil, err
	}
	if e.TargetSpeedMS != nil {
		h, err := speed.Read(ctx, d.read, d.scope(), d.Intake.Rig(), time.Now())
		if err != nil {
			return nil, err
		}
		most := 0.0
		for _, p := range slices.Concat(h.Before, h.Since) {
			most = max(most, p.SpeedMS)
		}
		if most > 0 && *e.TargetSpeedMS > farAboveSpeed*most {
			doubts["target_speed_m_s"] = fmt.Sprintf("%g m/s is far above what was observed on this ram since its last two services, at most %.2f m/s. Was it mistyped?", *e.TargetSpeedMS, most)
		}
	}
	maps.DeleteFunc(doubts, func(_, text string) bool { return text == "" })
	return doubts, nil
}
