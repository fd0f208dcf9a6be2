package uff58

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// Meta is what a recording does not hold.
type Meta struct {
	Title string // second ID line of each dataset
	Date  string // third ID line, "DD-MMM-YY HH:MM:SS"
	Notes [2]string
}

// Write writes a recording as one dataset 58 per channel behind a dataset 164
// that says SI units: accelerations in m/s², pressures in Pa, the rest in the
// recording's unit. Values have 13 significant digits; the times of an uneven
// recording have 6, which is the format's limit. A sample that is NaN is a
// *fault.Error: the format has no sign for it.
func Write(w io.Writer, rec *signal.Recording, meta Meta) error {
	if rec.TimeS == nil && !(rec.RateHz > 0) {
		return &fault.Error{Code: fault.TimeColumn, What: "the recording has no sample rate", Fix: "give its times or its rate"}
	}
	if len(rec.Channels) == 0 {
		return &fault.Error{Code: fault.NoData, What: "the recording has no channel", Fix: "choose the channels to write"}
	}
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%6d\n%6d\n%10d%-20s%10d\n", -1, 164, 1, "SI: metre (newton)", 2)
	fmt.Fprintf(b, "%s%s%s\n%s\n%6d\n", fortran(1), fortran(1), fortran(1), fortran(273.15), -1)
	for i := range rec.Channels {
		if err := dataset(b, rec, i, meta); err != nil {
			return err
		}
	}
	return b.Flush()
}

// fortran prints D25.17.
func fortran(v float64) string {
	return strings.Replace(fmt.Sprintf("%25.17E", v), "E", "D", 1)
}

// kind is how a quantity is written.
func kind(ch *signal.Channel) (ordinate int, label, unitText string, factor float64) {
	switch ch.Measures {
	case signal.LinearAcceleration:
		return Acceleration, "acceleration", "m/s^2", unit.G0
	case signal.AngularVelocity: // type 11 is read as m/s by some, so the unit says it
		return General, "angular velocity", "rad/s", 1
	case signal.Pressure:
		return Pressure, "pressure gauge", "Pa", 1000
	case signal.Force:
		return ReactionForce, "force", "N", 1
	}
	return General, "light gate", ch.Unit, 1
}

// direction is the response direction of a channel.
func direction(ch *signal.Channel) int {
	if ch.Axis == signal.NoAxis {
		return 0
	}
	if ch.Measures == signal.AngularVelocity {
		return int(ch.Axis) + 3
	}
	return int(ch.Axis)
}

// line80 keeps a text on one line of 80 characters of ASCII; none is NONE.
func line80(s string, most int) string {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r < 0x20:
			return ' '
		case r > 0x7e:
			return '?'
		}
		return r
	}, s))
	if len(s) > most {
		s = strings.TrimSpace(s[:most])
	}
	if s == "" || s == "-1" {
		return "NONE"
	}
	return s
}

func dataset(b *bufio.Writer, rec *signal.Recording, i int, meta Meta) error {
	ch := &rec.Channels[i]
	ordinate, label, unitText, factor := kind(ch)
	even, start, step := 1, rec.StartS, 0.0
	if rec.TimeS != nil {
		even, start = 0, 0
	} else {
		step = 1 / rec.RateHz
	}
	fmt.Fprintf(b, "%6d\n%6d\n", -1, 58)
	for _, id := range []string{ch.Name, meta.Title, meta.Date, meta.Notes[0], meta.Notes[1]} {
		fmt.Fprintln(b, line80(id, 80))
	}
	fmt.Fprintf(b, "%5d%10d%5d%10d %-10s%10d%4d %-10s%10d%4d\n", TimeResponse, i+1, 0, 0, "NONE", i+1, direction(ch), "NONE", 0, 0)
	fmt.Fprintf(b, "%10d%10d%10d%13.5E%13.5E%13.5E\n", realDouble, len(ch.Values), even, start, step, 0.0)
	fmt.Fprintf(b, "%10d%5d%5d%5d %-20s %-20s\n", Time, 0, 0, 0, "time", "s")
	fmt.Fprintf(b, "%10d%5d%5d%5d %-20s %-20s\n", ordinate, 0, 0, 0, line80(label, 20), line80(unitText, 20))
	for range 2 {
		fmt.Fprintf(b, "%10d%5d%5d%5d %-20s %-20s\n", 0, 0, 0, 0, "NONE", "NONE")
	}
	perLine := 4
	if rec.TimeS != nil {
		perLine = 2
	}
	for k, v := range ch.Values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return &fault.Error{Code: fault.NotFinite, Channel: ch.Name, What: fmt.Sprintf("sample %d is not finite, and dataset 58 has no sign for that", k+1), Fix: "leave the channel out"}
		}
		if rec.TimeS != nil {
			fmt.Fprintf(b, "%13.5E", rec.TimeS[k])
		}
		fmt.Fprintf(b, "%20.12E", v*factor)
		if (k+1)%perLine == 0 || k+1 == len(ch.Values) {
			fmt.Fprintln(b)
		}
	}
	_, err := fmt.Fprintf(b, "%6d\n", -1)
	return err
}
