package scoring

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Body turns a report into the body of a score record. The two have types of
// their own, so that the computation can change without the stored layout.
func Body(j Job, rep *score.Report) *lab.Score {
	b := &lab.Score{Shot: j.Shot, Engine: rep.Engine, MapSHA256: j.Map, TypedSpeedMS: j.TypedSpeedMS}
	if len(rep.Results) > 0 {
		b.Results = make(map[string]lab.Result, len(rep.Results))
	}
	for name, r := range rep.Results {
		b.Results[name] = lab.Result{
			Value: r.Value, Unit: r.Unit, ExpandedUncertainty: r.ExpandedUncertainty,
			AtS: r.AtS, FromS: r.FromS, ToS: r.ToS, Definition: r.Definition, Note: r.Note,
		}
	}
	if rep.Record != nil {
		b.Record = new(lab.RecordInfo(*rep.Record))
	}
	if rep.Process != nil {
		b.Processing = new(lab.Processing(*rep.Process))
		b.Processing.CFC = maps.Clone(rep.Process.CFC)
	}
	b.Calibrations, b.Reviews = usedCalibrations(rep), usedReviews(rep)
	if rep.Has(score.MapGuessed) && rep.Map != nil {
		b.GuessedMap = mapText(rep.Map)
	}
	b.Positions = positions(rep)
	b.Flags = Flags(rep.Flags)
	for _, x := range rep.Twins[:min(len(rep.Twins), lab.MaxTwins)] {
		b.Twins = append(b.Twins, lab.Twins{Channel: cut(x.Channel, lab.MaxText), Twin: cut(x.Twin, lab.MaxText), Measures: string(x.Measures),
			Value: x.Value, Other: x.Other, Unit: x.Unit, Limit: x.Limit})
	}
	if rep.Error != nil {
		b.Error = new(Fault(rep.Error))
	}
	for _, f := range rep.Faults[:min(len(rep.Faults), lab.MaxFaults)] {
		b.Faults = append(b.Faults, Fault(f))
	}
	fit(b)
	return b
}

// positions are the places that the map states, each once.
func positions(rep *score.Report) (out []string) {
	if rep.Map == nil || rep.Has(score.MapGuessed) {
		return nil
	}
	for i := range rep.Map.Channels {
		name := cut(strings.TrimSpace(rep.Map.Channels[i].Column), lab.MaxText)
		if name != "" && len(out) < lab.MaxPositions && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// fit leaves out what is least needed until the score fits in a record.
func fit(b *lab.Score) {
	for {
		raw, err := record.EncodeBody(b)
		if err != nil || len(raw) <= lab.MaxBody {
			return
		}
		switch n := len(b.Flags); {
		case b.GuessedMap != "":
			b.GuessedMap = ""
		case len(b.Positions) > 0:
			b.Positions = nil
		case len(b.Faults) > 0:
			b.Faults = nil
		case n > 1:
			b.Flags = append(b.Flags[:n/2:n/2], lab.Flag{Code: lab.FlagFlagsCut, Text: "further flags are left out here; scoring the file again shows them"})
			if n <= 3 {
				b.Flags = b.Flags[:1]
			}
		default:
			return
		}
	}
}

// Flags turns a report's flags into stored ones, at most lab.MaxFlags.
func Flags(in []score.Flag) []lab.Flag {
	var out []lab.Flag
	for _, f := range in {
		if len(out) == lab.MaxFlags-1 && len(in) > lab.MaxFlags {
			return append(out, lab.Flag{Code: lab.FlagFlagsCut, Text: fmt.Sprintf("%d further flags are left out here; scoring the file again shows them", len(in)-len(out))})
		}
		out = append(out, lab.Flag{Code: string(f.Code), Channel: cut(f.Channel, lab.MaxText), Text: cut(f.Text, 500)})
	}
	return out
}

// Fault turns a fault of the data into a stored one, as a score or a
// quarantine holds it.
func Fault(f *fault.Error) lab.Fault {
	return lab.Fault{
		Code: string(f.Code), What: cut(f.What, 500), Line: f.Line, Column: f.Column,
		Channel: cut(f.Channel, lab.MaxText), Fix: cut(f.Fix, 500),
	}
}

// cut shortens a text to n characters and makes it valid UTF-8: column names
// come from the file as they are.
func cut(s string, n int) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}

// mapText gives a map as TOML, "" when it is too long to be kept in a record.
func mapText(m *chanmap.Map) string {
	var b strings.Builder
	if err := chanmap.Encode(&b, *m); err != nil || b.Len() > 12<<10 || !utf8.ValidString(b.String()) {
		return ""
	}
	return b.String()
}
