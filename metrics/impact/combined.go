package impact

import "math"

// GAMBIT combines the peaks of linear (g) and angular (rad/s²) acceleration in
// form A. byLinear and byAngular are its derivatives to the two peaks. Constants:
// GAMBITForm.
func GAMBIT(peakG, peakRadS2 float64) (value, byLinear, byAngular float64) {
	return gambit(GAMBITForm(), peakG, peakRadS2)
}

// GAMBITB is GAMBIT in form B. Constants: GAMBITFormB.
func GAMBITB(peakG, peakRadS2 float64) (value, byLinear, byAngular float64) {
	return gambit(GAMBITFormB(), peakG, peakRadS2)
}

func gambit(d Definition, peakG, peakRadS2 float64) (value, byLinear, byAngular float64) {
	n, a, b := d.Value("exponent"), d.Value("critical a"), d.Value("critical alpha")
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

// RICWindowS is the longest window of RIC36 in seconds (Kimpara and Iwamoto 2012;
// not confirmed against print).
const RICWindowS = HIC36WindowS

// FindRIC is the rotational injury criterion RIC36 of the resultant angular
// acceleration in rad/s²: the search of HIC over angular instead of linear
// acceleration, in windows up to RICWindowS. Its value is about 10⁷ where that of
// HIC is about 10³. Constants: RICForm; the exponent is that of HIC.
func FindRIC(alpha Trace) HIC {
	return NewCumulative(alpha, nil).FindHIC(RICWindowS, HIC{})
}

// HARM is the linear combination of HIC15 and DAMAGE of Bailey et al. 2020. byHIC
// and byDAMAGE are its derivatives. Constants: HARMForm.
func HARM(hic15, damage float64) (value, byHIC, byDAMAGE float64) {
	d := HARMForm()
	byHIC, byDAMAGE = d.Value("C1"), d.Value("C2")
	return byHIC*hic15 + byDAMAGE*damage, byHIC, byDAMAGE
}
