// Package present turns rows of the views into the structs of the screens, for
// agent and server alike: words, digits, units.
package present

import (
	"slices"
	"strings"
	"time"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Kind says in words what kind of stroke it was.
func Kind(kind string) string {
	switch kind {
	case lab.ShotDry:
		return "dry stroke"
	case lab.ShotSecondFile:
		return "second file of a stroke"
	case lab.ShotSystemCheck:
		return "system check"
	default:
		return "shot"
	}
}

// ShotRow is one line of a list of shots; times are shown in zone.
func ShotRow(r *view.ShotRow, zone *time.Location) page.ShotRow {
	p := page.ShotRow{
		ID: r.ID.String(), At: r.Shot.EffectiveAt.Time().In(zone), Kind: Kind(r.Shot.Kind),
		Specimen: r.Shot.Specimen, Location: r.Shot.Location,
		Speed:   number(r.SpeedMS(), "m/s", "no light gate, no speed typed"),
		Target:  number(r.Shot.TargetSpeedMS, "m/s", "not recorded"),
		Waiting: Waiting(r), Arrival: r.Shot.EffectiveFrom == lab.FromReceived,
	}
	none := "not scored yet"
	var f view.Figures
	if r.Figures != nil {
		f = *r.Figures
		none = "not in the file"
		if r.Shot.Kind == lab.ShotDry {
			none = "dry stroke"
		}
		if f.Error != "" {
			none = "a channel could not be read"
		}
	}
	if r.Shot.Kind == lab.ShotDry && f.SeverityIndex == nil { // what is left is noise
		f.PeakG, f.HIC15 = nil, nil
	}
	p.PeakG = number(f.PeakG, "g", none)
	p.SI = number(f.SeverityIndex, "SI", none)
	p.HIC15 = number(f.HIC15, "HIC", none)
	if r.Void() {
		p.Flags = append(p.Flags, page.Flag{Code: "void", Text: "void: " + r.Withdrawn.Reason, Level: page.Bad})
	}
	for _, code := range f.Flags {
		if !remark(code) {
			p.Flags = append(p.Flags, Flag(lab.Flag{Code: code}))
		}
	}
	sortFlags(p.Flags)
	return p
}

// remark tells the flags that say little about trust; lists leave them out.
func remark(code string) bool {
	switch score.FlagCode(code) {
	case score.UncertaintyUnknown, score.ChannelNotUsed, score.Manual, lab.FlagJudgedThen:
		return true
	}
	return false
}

// Waiting reports whether a shot lacks what a campaign needs: specimen,
// location or target speed.
func Waiting(r *view.ShotRow) bool { return len(Lacking(r)) > 0 }

// Lacking names what a shot still needs, in the words of the form that asks.
func Lacking(r *view.ShotRow) []string {
	if r.Shot.Kind != lab.ShotHit || r.Void() {
		return nil
	}
	var miss []string
	for _, name := range r.Shot.Missing() {
		word := Words(name)
		for _, f := range page.AssignFields("kPa") {
			if f.Name == name {
				word = strings.ToLower(f.Label)
			}
		}
		miss = append(miss, word)
	}
	return miss
}

// Flag is one flag in words. A flag without a text of its own, as lists have
// them, takes its code as words.
func Flag(f lab.Flag) page.Flag {
	p := page.Flag{Code: f.Code, Channel: f.Channel, Text: Words(f.Code), Level: level(f.Code)}
	if f.Code == string(score.Manual) {
		p.Text = "stated, not measured: the impact speed was given in the meta or typed by a person; no channel measured it"
	} else if f.Text != "" {
		p.Text += ": " + f.Text
	}
	return p
}

// Flags is flags in words, the gravest first.
func Flags(fs []lab.Flag) []page.Flag {
	out := make([]page.Flag, 0, len(fs))
	for _, f := range fs {
		out = append(out, Flag(f))
	}
	sortFlags(out)
	return out
}

func sortFlags(fs []page.Flag) {
	slices.SortStableFunc(fs, func(a, b page.Flag) int { return rank(a.Level) - rank(b.Level) })
}

func rank(l page.Level) int {
	switch l {
	case page.Bad:
		return 0
	case page.Warn:
		return 1
	default:
		return 2
	}
}

// level says how much a flag spoils: some are remarks, some cost the result.
func level(code string) page.Level {
	switch code {
	case lab.FlagAboveRated, lab.FlagOverdue, lab.FlagNeverCalibrated, lab.FlagScoringFailed, lab.FlagIncompleteFile:
		return page.Bad
	case "file_changed", lab.FlagJudgedThen:
		return page.Plain
	}
	switch score.FlagCode(code) {
	case score.UncertaintyUnknown, score.Manual, score.ChannelNotUsed, score.NoImpact:
		return page.Plain
	case score.BaselineInImpact, score.UnitConflict, score.ChannelUnreadable, score.Saturated, score.DeadChannel, score.Dropout, score.ReversedChannel:
		return page.Bad
	default:
		return page.Warn
	}
}

// Words is a code as words: "no_return_below_4g" becomes "no return below 4g".
func Words(code string) string { return strings.ReplaceAll(code, "_", " ") }

func number(v *float64, unit, missing string) page.Number {
	if v == nil {
		return page.Missing(missing)
	}
	return page.Show(*v, unit)
}

// Count is a number of things in words: "1 shot", "1 204 shots", "no shot".
func Count(n int64, one, many string) string {
	switch n {
	case 0:
		return "no " + one
	case 1:
		return "1 " + one
	default:
		return page.ShowCount(n) + " " + many
	}
}
