package present

import (
	"slices"
	"strings"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/signal"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Positions lists the places of a rig: the ram and what it hits, a place for
// each channel of the map (nil: none), and what else is mounted.
func Positions(m *chanmap.Map, mounted []view.MountedRow, zone *time.Location) []page.RigPosition {
	var out []page.RigPosition
	for _, class := range []string{lab.ClassRam, lab.ClassImpactorFace, lab.ClassHeadForm, lab.ClassNeck} {
		out = append(out, page.RigPosition{Position: class, Kind: class})
	}
	if m != nil {
		for i := range m.Channels {
			ch := &m.Channels[i]
			out = append(out, page.RigPosition{Position: strings.TrimSpace(ch.Column), Kind: classOf(ch.Measures), Channel: ChannelWords(ch)})
		}
	}
	for i := range mounted {
		b := &mounted[i].Mounting.Mounting
		at := slices.IndexFunc(out, func(p page.RigPosition) bool { return lab.Fold(p.Position) == lab.Fold(b.Position) })
		if at < 0 {
			at = len(out)
			out = append(out, page.RigPosition{Position: b.Position})
		}
		out[at].Since = b.EffectiveAt.Time().In(zone)
		out[at].Others = OtherPositions(mounted, &mounted[i])
		if out[at].Item = "not in the register"; mounted[i].Item != nil {
			out[at].Item = mounted[i].Item.Item.Title()
		}
	}
	return out
}

// AlsoThere says of a mounting that the item stayed where it sat, "" where it moved.
func AlsoThere(m *lab.Mounting) string {
	if m.Also {
		return ", and at its other positions"
	}
	return ""
}

// OtherPositions lists where else at a rig the item of one position sits.
func OtherPositions(mounted []view.MountedRow, of *view.MountedRow) (out []string) {
	for i := range mounted {
		if b := &mounted[i].Mounting.Mounting; b.Item == of.Mounting.Mounting.Item && b.Position != of.Mounting.Mounting.Position {
			out = append(out, b.Position)
		}
	}
	return out
}

// ChannelWords says what a channel measures, as "linear acceleration, x, g".
func ChannelWords(ch *chanmap.Channel) string {
	words := []string{ch.Measures}
	for _, w := range []string{strings.ReplaceAll(ch.Axis, "-", "\u2212"), ch.Unit} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

// classOf is the kind of item that measures a quantity.
func classOf(measures string) string {
	switch signal.Quantity(measures) {
	case signal.LightGate:
		return lab.ClassLightGate
	case signal.Pressure:
		return lab.ClassPressureTransducer
	default:
		return lab.ClassSensor
	}
}
