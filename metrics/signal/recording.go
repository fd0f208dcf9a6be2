// Package signal holds one recording of a shot: channels over a shared time
// base, in the units that the rest of metrics computes with.
package signal

import "math"

// Quantity is what a channel measures.
type Quantity string

// The quantities that a channel map can name.
const (
	LinearAcceleration Quantity = "linear acceleration" // stored in g
	AngularVelocity    Quantity = "angular velocity"    // stored in rad/s
	LightGate          Quantity = "light gate"          // stored in V, or as given
	Pressure           Quantity = "pressure"            // stored in kPa gauge
	Force              Quantity = "force"               // stored in N
)

// Axis is a head axis after SAE J211: x forward, y to the right, z down.
type Axis byte

// The axes; NoAxis is for scalar channels.
const (
	NoAxis Axis = iota
	X
	Y
	Z
)

// String gives "x", "y", "z" or "".
func (a Axis) String() string { return [...]string{"", "x", "y", "z"}[a&3] }

// Channel is one measured quantity over the recording's time base.
// Values are in Unit, with the polarity and sensitivity of the map applied;
// a sample that could not be read is NaN.
type Channel struct {
	Name       string // the column's header text
	Measures   Quantity
	Axis       Axis
	Unit       string // "g", "rad/s", "V", "kPa", "N"
	Values     []float64
	CFC        int        // SAE J211 channel frequency class; 0: leave unfiltered
	FullScale  float64    // in Unit; 0: unknown
	PositionMM [3]float64 // from the head's centre of gravity, head axes
	// ExpandedUncertaintyPercent (k = 2) of the sensitivity; 0: unknown.
	ExpandedUncertaintyPercent float64
	FlagMM                     float64 // light gate: width of the flag
	Sensor                     string  // serial number, where the map names one
}

// Recording is a set of channels of equal length.
type Recording struct {
	// TimeS holds the time of each sample, strictly or not strictly increasing,
	// or is nil when the samples are even: sample i is then at StartS + i/RateHz.
	TimeS    []float64
	StartS   float64
	RateHz   float64 // of even samples; for uneven ones the median rate
	Uneven   bool    // steps of TimeS differ by more than one part in a thousand, or repeat
	Channels []Channel
}

// Len is the number of samples a channel.
func (r *Recording) Len() int {
	if r.TimeS != nil {
		return len(r.TimeS)
	}
	if len(r.Channels) == 0 {
		return 0
	}
	return len(r.Channels[0].Values)
}

// At gives the time of sample i in seconds.
func (r *Recording) At(i int) float64 {
	if r.TimeS != nil {
		return r.TimeS[i]
	}
	return r.StartS + float64(i)/r.RateHz
}

// Triad finds the three channels of a quantity along x, y, z; ok is false when
// one of them is missing.
func (r *Recording) Triad(q Quantity) (x, y, z *Channel, ok bool) {
	var t [4]*Channel
	for i := range r.Channels {
		c := &r.Channels[i]
		if c.Measures == q && t[c.Axis] == nil {
			t[c.Axis] = c
		}
	}
	return t[X], t[Y], t[Z], t[X] != nil && t[Y] != nil && t[Z] != nil
}

// Resultant puts the magnitude of three orthogonal channels of one unit into
// dst and returns it; dst may be nil or one of the inputs. It panics if the
// lengths differ: that is a mistake in the caller, not in the data.
func Resultant(dst, x, y, z []float64) []float64 {
	if len(x) != len(y) || len(x) != len(z) {
		panic("signal: channel lengths differ")
	}
	if cap(dst) < len(x) {
		dst = make([]float64, len(x))
	}
	dst = dst[:len(x)]
	for i := range x {
		dst[i] = math.Sqrt(x[i]*x[i] + y[i]*y[i] + z[i]*z[i])
	}
	return dst
}
