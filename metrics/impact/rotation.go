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
	return [3]float64{d.Value("critical x"), d.Value("critical y"), d.Value("critical z")}
}

func square(x float64) float64 { return x * x }
