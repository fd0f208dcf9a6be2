package impact

import "thudbook/metrics/limits"

// Definition is a published form of a metric with its constants; the table is in
// package limits.
type Definition = limits.Definition

// Constant is one number of a definition.
type Constant = limits.Constant

// Definitions are all published forms that the metrics use, the edition in the source.
func Definitions() []Definition { return limits.Definitions() }

// SeverityIndexForm is the severity index with its limits: exponent, threshold (g).
func SeverityIndexForm() Definition { return limits.Define("severity-index-4g") }

// HICForm is the head injury criterion with its two windows.
func HICForm() Definition { return limits.Define("hic-571.208") }

// ClipForm is the contiguous 3 ms clip.
func ClipForm() Definition { return limits.Define("clip-3ms-contiguous") }

// CumulativeClipForm is the 3 ms clip of the total time.
func CumulativeClipForm() Definition { return limits.Define("clip-3ms-cumulative") }

// DwellForm holds the dwell levels of the motorcycle helmet regulation: low, high (g).
func DwellForm() Definition { return limits.Define("dwell-571.218") }

// PulseShapeForm holds the shares of the peak between which widths and rise are taken.
func PulseShapeForm() Definition { return limits.Define("pulse-shape") }

// BrICForm is the brain injury criterion of 2013.
func BrICForm() Definition { return limits.Define("bric-2013") }

// GAMBITForm is form A, with exponent 2.5, taken of peaks. Form B has exponent 2
// and 10 000 rad/s²; the two must not be pooled.
func GAMBITForm() Definition { return limits.Define("gambit-a") }

// GAMBITFormB is the form with exponent 2, taken of peaks.
func GAMBITFormB() Definition { return limits.Define("gambit-b") }

// RICForm is the rotational injury criterion of 2012.
func RICForm() Definition { return limits.Define("ric-2012") }

// DAMAGEForm is the three-mass model of 2019.
func DAMAGEForm() Definition { return limits.Define("damage-2019") }

// HARMForm is the linear combination of HIC15 and DAMAGE of 2020.
func HARMForm() Definition { return limits.Define("harm-2020") }
