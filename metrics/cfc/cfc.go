// Package cfc filters channels with the channel frequency classes of SAE J211-1
// and ISO 6487: a two-pole Butterworth low pass run forward and backward, so that
// nothing is shifted in time.
package cfc

import (
	"fmt"
	"math"
)

// CornerFactor k sets the corner of one pass at k times the class. With it both
// passes together are 3.01 dB down at 5/3 of the class: k = (5/3)/(√2−1)^(1/4),
// rounded as in SAE J211-1, appendix C (not confirmed against print). ISO 6487 is
// also found with 2.0833, which moves every frequency up by 0.28 %.
const CornerFactor = 2.0775

// PadS is the length in seconds of the reflection put before and after the
// record while it is filtered.
const PadS = 0.010

// MinRatePerClass is the least sample rate per class frequency after SAE J211-1
// (10 kHz for CFC 1000; not confirmed against print). Below it the filter still
// runs, but its corner moves.
const MinRatePerClass = 10

// Coefficients of one pass, in the sign convention of SAE J211-1:
// y[t] = A0 x[t] + A1 x[t-1] + A2 x[t-2] + B1 y[t-1] + B2 y[t-2].
type Coefficients struct {
	A0, A1, A2, B1, B2 float64
}

// Filter is one class at one sample rate. It holds no state and may be shared.
type Filter struct {
	Class  int
	RateHz float64
	Coefficients
	pad int
}

// Design computes the filter of a class (60, 180, 600, 1000, or any other
// positive frequency in Hz) for an even sample rate in Hz. It returns an error
// when the corner would not lie below half the sample rate.
func Design(class int, rateHz float64) (*Filter, error) {
	if class <= 0 || !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("no filter for class %d at %g Hz", class, rateHz)
	}
	corner := CornerFactor * float64(class)
	if corner >= 0.499*rateHz {
		return nil, fmt.Errorf("CFC %d needs more than %.0f samples a second, the record has %g", class, corner/0.499, rateHz)
	}
	wa := math.Tan(math.Pi * corner / rateHz)
	d := 1 + math.Sqrt2*wa + wa*wa
	a0 := wa * wa / d
	return &Filter{
		Class:  class,
		RateHz: rateHz,
		Coefficients: Coefficients{
			A0: a0, A1: 2 * a0, A2: a0,
			B1: -2 * (wa*wa - 1) / d,
			B2: (-1 + math.Sqrt2*wa - wa*wa) / d,
		},
		pad: int(math.Round(min(PadS*rateHz, 1<<30))),
	}, nil
}

// Gain is the amplitude ratio of both passes together at a frequency in Hz.
func (f *Filter) Gain(frequencyHz float64) float64 {
	w := 2 * math.Pi * frequencyHz / f.RateHz
	z1 := complex(math.Cos(w), -math.Sin(w))
	z2 := z1 * z1
	num := complex(f.A0, 0) + complex(f.A1, 0)*z1 + complex(f.A2, 0)*z2
	den := 1 - complex(f.B1, 0)*z1 - complex(f.B2, 0)*z2
	h := num / den
	return real(h)*real(h) + imag(h)*imag(h)
}

// Scratch is working memory that Apply keeps between calls. The zero value is
// ready; it must not be used by two calls at once.
type Scratch struct {
	lane [lanes][]float64
}

// lanes is how many channels are filtered side by side: the recursion of one
// channel waits for its last output, several together fill the wait.
const lanes = 4

// Apply filters each channel of src into the channel of dst at the same place;
// dst[i] may be src[i]. It panics when the shapes differ: that is a mistake in
// the caller. A sample that is not finite spoils its whole channel.
//
// The record is extended at both ends by 10 ms (or its length less one) of odd
// reflection, 2·x[0] − x[i], and each pass starts from the steady state of its
// first value, as scipy.signal.filtfilt does with that pad length. ISO 6487
// describes a padding of this kind (not confirmed against print).
func (f *Filter) Apply(dst, src [][]float64, s *Scratch) {
	if len(dst) != len(src) {
		panic("cfc: number of channels differs")
	}
	for i := range src {
		if len(dst[i]) != len(src[i]) || len(src[i]) != len(src[0]) {
			panic("cfc: channel lengths differ")
		}
	}
	if len(src) == 0 || len(src[0]) == 0 {
		return
	}
	n := len(src[0])
	pad := min(f.pad, n-1)
	for at := 0; at < len(src); at += lanes {
		group := src[at:min(at+lanes, len(src))]
		for l, x := range group {
			s.lane[l] = extend(s.lane[l], x, pad)
		}
		if len(group) == 1 {
			f.forward(s.lane[0])
			f.backward(s.lane[0], pad)
		} else {
			for l := len(group); l < lanes; l++ { // a lane more costs next to nothing
				s.lane[l] = append(s.lane[l][:0], s.lane[0]...)
			}
			f.forward4(s.lane[0], s.lane[1], s.lane[2], s.lane[3])
			f.backward4(s.lane[0], s.lane[1], s.lane[2], s.lane[3], pad)
		}
		for l := range group {
			copy(dst[at+l], s.lane[l][pad:pad+n])
		}
	}
}

// extend puts x with its odd reflections into buf.
func extend(buf, x []float64, pad int) []float64 {
	n := len(x)
	if cap(buf) < n+2*pad {
		buf = make([]float64, n+2*pad)
	}
	buf = buf[:n+2*pad]
	first, last := 2*x[0], 2*x[n-1]
	for i := range pad {
		buf[i] = first - x[pad-i]
		buf[pad+n+i] = last - x[n-2-i]
	}
	copy(buf[pad:], x)
	return buf
}
