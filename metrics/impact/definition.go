package impact

// Definition is a published form of a metric: its constants are data, so that a
// result can say which ones it rests on.
type Definition struct {
	ID        string     `json:"id"` // stable, "bric-2013"
	Metric    string     `json:"metric"`
	Form      string     `json:"form"`   // the formula, in words or signs
	Source    string     `json:"source"` // standard or paper
	Constants []Constant `json:"constants"`
}

// Constant is one number of a definition. Confirmed is true only when somebody
// has compared it with the printed source.
type Constant struct {
	Name      string  `json:"name"`
	Value     float64 `json:"value"`
	Unit      string  `json:"unit"`
	Confirmed bool    `json:"confirmed"`
}

// Confirmed tells whether every constant was compared with print.
func (d Definition) Confirmed() bool {
	for _, c := range d.Constants {
		if !c.Confirmed {
			return false
		}
	}
	return true
}

// Citation is the source, with a remark when a constant was not compared with print.
func (d Definition) Citation() string {
	if d.Confirmed() {
		return d.Source
	}
	return d.Source + "; constants not confirmed against print"
}

// value looks a constant up by name; a name that is not there is a mistake in the
// program and panics.
func (d Definition) value(name string) float64 {
	for _, c := range d.Constants {
		if c.Name == name {
			return c.Value
		}
	}
	panic("impact: definition " + d.ID + " has no constant " + name)
}

// Definitions are all published forms that the metrics use, the edition in the source.
func Definitions() []Definition {
	return []Definition{
		SeverityIndexForm(), HICForm(), ClipForm(), DwellForm(), BrICForm(), GAMBITForm(), DAMAGEForm(),
	}
}

// SeverityIndexForm is the severity index with its limits.
func SeverityIndexForm() Definition {
	return Definition{
		ID: "severity-index-4g", Metric: "severity_index",
		Form:   "integral of a^2.5 from the 4 g crossing before the peak to the one after it",
		Source: "Gadd 1966, SAE 660793; limits by the practice of helmet specifications",
		Constants: []Constant{
			{"exponent", 2.5, "", true},
			{"threshold", 4, "g", false},
		},
	}
}

// HICForm is the head injury criterion with its two windows.
func HICForm() Definition {
	return Definition{
		ID: "hic-571.208", Metric: "hic15, hic36",
		Form:   "largest (t2-t1) * mean(a)^2.5, windows bounded by samples",
		Source: "49 CFR 571.208",
		Constants: []Constant{
			{"exponent", 2.5, "", true},
			{"window15", HIC15WindowS, "s", true},
			{"window36", HIC36WindowS, "s", true},
		},
	}
}

// ClipForm is the contiguous 3 ms clip.
func ClipForm() Definition {
	return Definition{
		ID: "clip-3ms-contiguous", Metric: "clip_3ms",
		Form:      "highest level held through one unbroken interval, crossings interpolated",
		Source:    "SAE J1727",
		Constants: []Constant{{"duration", Clip3MSDurationS, "s", false}},
	}
}

// DwellForm holds the dwell levels of the motorcycle helmet regulation.
func DwellForm() Definition {
	return Definition{
		ID: "dwell-571.218", Metric: "dwell_150g, dwell_200g",
		Form:   "total time above a level, crossings interpolated",
		Source: "49 CFR 571.218 S5.1",
		Constants: []Constant{
			{"low", 150, "g", false},
			{"high", 200, "g", false},
		},
	}
}

// BrICForm is the brain injury criterion of 2013.
func BrICForm() Definition {
	return Definition{
		ID: "bric-2013", Metric: "bric",
		Form:   "root of the sum of squares of max|w| / critical value, axis by axis",
		Source: "Takhounts et al. 2013, Stapp Car Crash Journal 57, 243-266",
		Constants: []Constant{
			{"critical x", 66.25, "rad/s", false},
			{"critical y", 56.45, "rad/s", false},
			{"critical z", 42.87, "rad/s", false},
		},
	}
}

// GAMBITForm is the form with exponent 2.5, taken of peaks. Another form with
// exponent 2 and 10 000 rad/s² exists; the two must not be pooled.
func GAMBITForm() Definition {
	return Definition{
		ID: "gambit-a", Metric: "gambit",
		Form:   "[(a/a_c)^2.5 + (alpha/alpha_c)^2.5]^(1/2.5) of the two peaks",
		Source: "Newman 1986, IRCOBI",
		Constants: []Constant{
			{"exponent", 2.5, "", false},
			{"critical a", 250, "g", false},
			{"critical alpha", 25000, "rad/s2", false},
		},
	}
}

// DAMAGEForm is the three-mass model of 2019.
func DAMAGEForm() Definition {
	return Definition{
		ID: "damage-2019", Metric: "damage",
		Form:   "beta * largest deflection of three coupled oscillators of 1 kg driven by the angular acceleration",
		Source: "Gabler, Crandall and Panzer 2019, Annals of Biomedical Engineering 47, 1971",
		Constants: []Constant{
			{"kxx", 32142, "N/m", false},
			{"kyy", 23493, "N/m", false},
			{"kzz", 16935, "N/m", false},
			{"kxy", 0, "N/m", false},
			{"kyz", 0, "N/m", false},
			{"kxz", 1636.3, "N/m", false},
			{"a1", 5.9148e-3, "s", false},
			{"beta", 2.9903, "1/m", false},
		},
	}
}
