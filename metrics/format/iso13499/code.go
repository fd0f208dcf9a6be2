package iso13499

import (
	"fmt"
	"slices"
	"strings"

	"thudbook/metrics/signal"
)

// Code is a channel code of 16 characters: test object (1), position (1), main
// location (4), three fine locations (2 each), physical dimension (2),
// direction (1), filter class (1). Example: D0HEAD0000H3ACXP.
type Code string

// CodeLength is the number of characters of a code.
const CodeLength = 16

// Check says what is wrong with a code; "" when nothing is. A "?" stands for a
// character that is not known.
func (c Code) Check() string {
	if len(c) != CodeLength {
		return fmt.Sprintf("the channel code %q has %d characters, a code has %d", clip(string(c)), len(c), CodeLength)
	}
	for i := range len(c) {
		if b := c[i]; (b < 'A' || b > 'Z') && (b < '0' || b > '9') && b != '?' {
			return fmt.Sprintf("the channel code %q has %q at place %d; capital letters, digits and ? are allowed", string(c), b, i+1)
		}
	}
	return ""
}

// part gives characters from to to, or "" when the code is not whole.
func (c Code) part(from, to int) string {
	if len(c) != CodeLength {
		return ""
	}
	return string(c[from:to])
}

// Location is the main location, such as HEAD.
func (c Code) Location() string { return c.part(2, 6) }

// Fine is the three fine locations, such as 0000H3.
func (c Code) Fine() string { return c.part(6, 12) }

// Dimension is the physical dimension, such as AC.
func (c Code) Dimension() string { return c.part(12, 14) }

// Direction is X, Y, Z, R for a resultant, or 0.
func (c Code) Direction() string { return c.part(14, 15) }

// Filter is the letter of the filter class.
func (c Code) Filter() string { return c.part(15, 16) }

// CFC is the channel frequency class that the values are filtered with already:
// 1000, 600, 180, 60, or 0 for none. known is false for a letter that says
// neither: S (special), ? and those not known here.
func (c Code) CFC() (class int, known bool) {
	switch c.Filter() {
	case "A":
		return 1000, true
	case "B":
		return 600, true
	case "C":
		return 180, true
	case "D":
		return 60, true
	case "P", "0": // P: no more than the filter before the converter
		return 0, true
	}
	return 0, false
}

// filterLetter is the letter of a class.
func filterLetter(cfc int, prefiltered bool) byte {
	switch cfc {
	case 1000:
		return 'A'
	case 600:
		return 'B'
	case 180:
		return 'C'
	case 60:
		return 'D'
	case 0:
		if prefiltered {
			return 'P'
		}
		return '0'
	}
	return 'S'
}

// Quantity is what the code says that a channel measures; why says in words why
// it is none that is used here.
func (c Code) Quantity() (q signal.Quantity, why string) {
	if c.Check() != "" {
		return "", "its channel code is not valid"
	}
	vector := slices.Contains([]string{"X", "Y", "Z"}, c.Direction())
	switch d := c.Dimension(); {
	case c.Direction() == "R":
		return "", "a resultant is computed from its components"
	case d == "AC" && vector:
		return signal.LinearAcceleration, ""
	case d == "AV" && vector:
		return signal.AngularVelocity, ""
	case d == "AC" || d == "AV":
		return "", "its code names no axis"
	case d == "AA":
		return "", "angular acceleration is computed from the angular velocity"
	case d == "PR":
		return signal.Pressure, ""
	case d == "FO":
		return signal.Force, ""
	case d == "VO" && c.Location() == gateLocation:
		return signal.LightGate, ""
	case d == "VO":
		return "", "it is a voltage, and its sensitivity is needed"
	default:
		return "", fmt.Sprintf("the physical dimension %q is not used here", d)
	}
}

// Axis is "x", "y", "z" or "".
func (c Code) Axis() string {
	switch d := c.Direction(); d {
	case "X", "Y", "Z":
		return strings.ToLower(d)
	}
	return ""
}

// gateLocation and ramLocation are main locations of our own: the published
// list has none for the light gate and the ram of this rig.
const (
	gateLocation = "GATE"
	ramLocation  = "RAMM"
)

// codeFor makes a code for a channel of this rig. The test object is D, a
// component or dummy part without vehicle. n tells channels apart that would
// have the same code: the second has 02 as fine location 1.
func codeFor(ch *signal.Channel, dummy string, n int, filter byte) Code {
	location, dimension := "HEAD", "AC"
	switch ch.Measures {
	case signal.AngularVelocity:
		dimension = "AV"
	case signal.LightGate:
		location, dimension = gateLocation, "VO"
	case signal.Pressure:
		location, dimension = ramLocation, "PR"
	case signal.Force:
		location, dimension = "NECK", "FO"
	}
	fine := "00"
	if n > 1 {
		fine = fmt.Sprintf("%02d", n%100)
	}
	if location != "HEAD" && location != "NECK" {
		dummy = "00"
	}
	direction := strings.ToUpper(ch.Axis.String())
	if direction == "" {
		direction = "0"
	}
	return Code("D0" + location + fine + "00" + dummy + dimension + direction + string(filter))
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
