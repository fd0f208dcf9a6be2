package lab

import "slices"

// Calibrated says that items of a class are usually calibrated: what they read
// goes into results.
func Calibrated(class string) bool {
	return slices.Contains([]string{ClassSensor, ClassLightGate, ClassPressureTransducer}, class)
}
