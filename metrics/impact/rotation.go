package impact

import "math"

// BrIC is the brain injury criterion of the largest |ω| about x, y and z in rad/s;
// the three may fall at different times. Constants: BrICForm.
func BrIC(peakRadS [3]float64) float64 {
	c := BrICCriticals()
	return math.Sqrt(square(peakRadS[0]/c[0]) + square(peakRadS[1]/c[1]) + square(peakRadS[2]/c[2]))
}

// BrICCriticals are the critical angular velocities about x, y and z in rad/s.
func BrICCriticals() [3]float64 {
	d := BrICForm()
	return [3]float64{d.value("critical x"), d.value("critical y"), d.value("critical z")}
}

func square(x float64) float64 { return x * x }

// GAMBIT combines the peaks of linear (g) and angular (rad/s²) acceleration.
// byLinear and byAngular are its derivatives to the two peaks. Constants: GAMBITForm.
func GAMBIT(peakG, peakRadS2 float64) (value, byLinear, byAngular float64) {
	d := GAMBITForm()
	n, a, b := d.value("exponent"), d.value("critical a"), d.value("critical alpha")
	x, y := math.Pow(peakG/a, n), math.Pow(peakRadS2/b, n)
	if x+y == 0 {
		return 0, 0, 0
	}
	value = math.Pow(x+y, 1/n)
	outer := value / (x + y)
	if peakG > 0 {
		byLinear = outer * x / peakG
	}
	if peakRadS2 > 0 {
		byAngular = outer * y / peakRadS2
	}
	return value, byLinear, byAngular
}
