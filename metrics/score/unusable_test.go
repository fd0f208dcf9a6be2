package score_test

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/score"
)

// A bad value or a missing column costs the metrics of its quantity, no others,
// and the error names the place.
func TestPartlyReadable(t *testing.T) {
	linear := []string{"peak_linear_acceleration", "severity_index", "hic15", "hic36", "clip_3ms", "dwell_150g", "dwell_200g", "impact_duration", "velocity_change"}
	angular := []string{"peak_angular_velocity", "peak_angular_acceleration", "bric", "damage"}
	good := newShot().csv()
	lines := strings.Split(strings.TrimSuffix(good, "\n"), "\n")
	edit := func(row, column int, cell string) string {
		out := slices.Clone(lines)
		cells := strings.Split(out[row], ",")
		cells[column] = cell
		out[row] = strings.Join(cells, ",")
		return strings.Join(out, "\n") + "\n"
	}
	for name, tc := range map[string]struct {
		text    string
		error   fault.Error
		flag    score.FlagCode
		channel string
		without []string
	}{
		"text in a number column": {edit(700, 2, "oops"), fault.Error{Code: fault.BadNumber, Line: 701, Column: 3, Channel: "ay"}, score.ChannelUnreadable, "ay", append([]string{"gambit"}, linear...)},
		"NaN":                     {edit(900, 5, "NaN"), fault.Error{Code: fault.NotFinite, Line: 901, Column: 6, Channel: "wy"}, score.ChannelUnreadable, "wy", append([]string{"gambit"}, angular...)},
		"missing column":          {strings.Replace(good, "t,ax,ay", "t,ax,other", 1), fault.Error{Code: fault.MissingColumn, Line: 1, Channel: "ay"}, score.ChannelUnreadable, "ay", append([]string{"gambit"}, linear...)},
		"last row cut short":      {good[:len(good)-25], fault.Error{Code: fault.Truncated, Line: shotSamples + 1}, score.RowLeftOut, "", nil},
	} {
		t.Run(name, func(t *testing.T) {
			rep := scoreText(t, tc.text, score.Options{Map: shotMap()})
			e := rep.Error
			if e == nil || e.Code != tc.error.Code || e.Line != tc.error.Line || e.Channel != tc.error.Channel ||
				tc.error.Column > 0 && e.Column != tc.error.Column {
				t.Errorf("error %+v, want %+v", e, tc.error)
			}
			if !slices.ContainsFunc(rep.Flags, func(f score.Flag) bool { return f.Code == tc.flag && f.Channel == tc.channel }) {
				t.Errorf("no flag %s on %q: %+v", tc.flag, tc.channel, rep.Flags)
			}
			want := contractWithout(tc.without)
			if got := names(rep); !slices.Equal(got, want) {
				t.Errorf("results %v, want %v", got, want)
			}
			if !rep.Partial() {
				t.Error("the report does not say that it is partial")
			}
		})
	}
}

// A file that cannot be used at all has an error and no results, and the digest of
// every byte all the same.
func TestUnusable(t *testing.T) {
	good := newShot().csv()
	lines := strings.SplitAfter(good, "\n")
	backwards := slices.Clone(lines)
	backwards[500], backwards[800] = backwards[800], backwards[500]
	wide := slices.Clone(lines)
	wide[300] = strings.Replace(wide[300], ",", ",1,", 1)
	for name, tc := range map[string]struct {
		text string
		code fault.Code
	}{
		"empty":          {"", fault.Empty},
		"header only":    {lines[0], fault.NoData},
		"time backwards": {strings.Join(backwards, ""), fault.TimeBackwards},
		"row width":      {strings.Join(wide, ""), fault.RowWidth},
	} {
		t.Run(name, func(t *testing.T) {
			rep := scoreText(t, tc.text, score.Options{Map: shotMap()})
			if rep.Error == nil || rep.Error.Code != tc.code || len(rep.Results) > 0 {
				t.Errorf("error %+v with %d results, want %s", rep.Error, len(rep.Results), tc.code)
			}
			sum := sha256.Sum256([]byte(tc.text))
			if rep.SHA256 != hex.EncodeToString(sum[:]) || rep.Bytes != int64(len(tc.text)) {
				t.Errorf("digest %s of %d bytes, want %x of %d", rep.SHA256, rep.Bytes, sum, len(tc.text))
			}
		})
	}
	rep := scoreText(t, good, score.Options{Map: shotMap(), MaxSamples: 1000})
	if sum := sha256.Sum256([]byte(good)); rep.Error == nil || rep.Error.Code != fault.TooLarge || rep.SHA256 != hex.EncodeToString(sum[:]) {
		t.Errorf("more samples than allowed: %+v, digest %s", rep.Error, rep.SHA256)
	}
}
