package page

import (
	"html/template"
	"net/url"
)

// Shock is the section of a shot's screen that asks for shock response spectra and
// shows them. It is folded, and nothing is computed until it is asked for.
type Shock struct {
	Shot  string // its id
	Asked bool
	Form  Form   // ShockFields; sent with GET, so that a spectrum has a link
	Fault string // why there are none
	Says  string // what was computed, in words
	Plot  template.HTML
	Heads []string // channels
	Rows  []ShockRow
	Notes []string // reasons to look twice, and channels that were left out
	CSV   string   // link to all digits
}

// ShockRow is one natural frequency.
type ShockRow struct {
	Frequency string   // Hz
	Cells     []string // maximax absolute acceleration in g, one a channel
	Largest   string
}

// ShockAsked is the query field that asks for spectra.
const ShockAsked = "shock"

// ShockFields are the settings of spectra. All are optional.
func ShockFields() []Field {
	return []Field{
		{Name: "q", Label: "Quality factor Q", Kind: "number", Help: "Damping ratio 1/(2Q). Empty: 10."},
		{Name: "from", Label: "Lowest natural frequency", Unit: "Hz", Kind: "number", Help: "Empty: 10 Hz, or one period in the record if that is higher."},
		{Name: "to", Label: "Highest natural frequency", Unit: "Hz", Kind: "number", Help: "Empty: a tenth of the sample rate, or the lowest filter class if that is lower."},
		{Name: "per_octave", Label: "Frequencies an octave", Kind: "select", Options: []Choice{{"6", "6"}, {"1", "1"}, {"3", "3"}, {"12", "12"}, {"24", "24"}}},
		{Name: "unfiltered", Label: "Record before its channel filters", Kind: "checkbox", Help: "Where the sensors sit. Without it: filtered, at the centre of gravity."},
	}
}

// ShockCSVPath gives the spectra of one shot as delimited text.
func ShockCSVPath(id string, asked url.Values) string {
	p := ShotPath(id) + "/shock.csv"
	if q := asked.Encode(); q != "" {
		p += "?" + q
	}
	return p
}

// ShotHref is where the form of the spectra goes to.
func (s Shock) ShotHref() string { return ShotPath(s.Shot) + "#shock" }
