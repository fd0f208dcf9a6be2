package chanmap

import (
	"slices"
	"strings"
	"unicode"

	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// guessed is what one header seems to say.
type guessed struct {
	header string
	ref    string
	tokens []string
	unit   unit.Unit
	known  bool // the unit was found
	odd    string
}

// look takes a header apart: name, axis, unit in brackets or as last word.
func look(header, unitCell string) guessed {
	c := guessed{header: strings.TrimSpace(header)}
	name, bracket := SplitUnit(c.header)
	for _, text := range []string{unitCell, bracket} {
		if u, ok := unit.Parse(text); ok {
			c.unit, c.known = u, true
			break
		} else if strings.TrimSpace(text) != "" && c.odd == "" {
			c.odd = strings.TrimSpace(text)
		}
	}
	words := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	words = slices.DeleteFunc(words, func(w string) bool { w = strings.ToLower(w); return w == "per" || w == "gauge" })
	if !c.known {
		words = c.lastWords(words)
	}
	for _, w := range words {
		c.tokens = append(c.tokens, tokens(w)...)
	}
	return c
}

// lastWords looks for a unit in the last words of a name, "time_ms" or
// "wx rad s", and gives the words before it.
func (c *guessed) lastWords(words []string) []string {
	n := len(words)
	for k := min(3, n-1); k >= 1; k-- {
		u, ok := unit.Parse(strings.Join(words[n-k:], "/"))
		if !ok {
			continue
		}
		if u.Dimension == unit.Time && !timeWord(strings.ToLower(words[0])) {
			continue // the s of something per second
		}
		c.unit, c.known = u, true
		return words[:n-k]
	}
	return words
}

// timeWord knows the names of time columns.
func timeWord(w string) bool {
	switch w {
	case "t", "time", "times", "timestamp", "elapsed", "zeit", "temps", "tiempo", "sec", "seconds", "msec":
		return true
	}
	return false
}

// SplitUnit takes the unit in brackets off a header: "acc x [g]" gives
// "acc x" and "g". Without one, unitText is empty.
func SplitUnit(header string) (name, unitText string) {
	header = strings.TrimSpace(header)
	for _, pair := range []string{"[]", "()", "{}"} {
		if !strings.HasSuffix(header, pair[1:]) {
			continue
		}
		depth := 0
		for i := len(header) - 1; i >= 0; i-- {
			switch header[i] {
			case pair[1]:
				depth++
			case pair[0]:
				depth--
			}
			if depth == 0 {
				if i == 0 {
					return header, ""
				}
				return strings.TrimSpace(header[:i]), strings.TrimSpace(header[i+1 : len(header)-1])
			}
		}
	}
	return header, ""
}

// tokens splits a word between a small and a capital letter, and makes all small.
func tokens(word string) []string {
	var out []string
	from := 0
	small := false
	for i, r := range word {
		if small && unicode.IsUpper(r) {
			out = append(out, strings.ToLower(word[from:i]))
			from = i
		}
		small = unicode.IsLower(r)
	}
	return append(out, strings.ToLower(word[from:]))
}

func (c *guessed) has(words ...string) bool {
	for _, t := range c.tokens {
		if slices.Contains(words, t) {
			return true
		}
	}
	return false
}

func (c *guessed) starts(prefixes ...string) bool {
	for _, t := range c.tokens {
		for _, p := range prefixes {
			if strings.HasPrefix(t, p) {
				return true
			}
		}
	}
	return false
}

// axis finds x, y or z as a word of its own or at the end of a short word.
func (c *guessed) axis() string {
	for i := len(c.tokens) - 1; i >= 0; i-- {
		if t := c.tokens[i]; t == "x" || t == "y" || t == "z" {
			return t
		}
	}
	for _, t := range c.tokens {
		for _, stem := range []string{"a", "acc", "accel", "acceleration", "w", "omega", "gyro", "rate", "f", "force", "ang", "av", "ar", "angvel", "lin", "g", "ars", "vel"} {
			for _, x := range []string{"x", "y", "z"} {
				if t == stem+x || t == x+stem || strings.TrimRight(t, "0123456789") == stem+x {
					return x
				}
			}
		}
	}
	switch {
	case c.has("roll"):
		return "x"
	case c.has("pitch"):
		return "y"
	case c.has("yaw"):
		return "z"
	}
	return ""
}

// quantity says what a column measures, or why it is left out.
func (c *guessed) quantity() (q signal.Quantity, why string) {
	angular := c.starts("ang", "rot", "gyro", "omega") || c.has("w", "wx", "wy", "wz", "ars", "roll", "pitch", "yaw", "av", "avx", "avy", "avz")
	linear := c.starts("acc", "lin") || c.has("a", "ax", "ay", "az", "xa", "ya", "za") || c.numbered("ax", "ay", "az")
	switch {
	case c.has("res", "resultant", "magnitude", "mag", "norm", "total", "sum"):
		return "", "a resultant is computed from its components"
	case c.starts("gate", "photo", "light", "beam", "trap"):
		return signal.LightGate, ""
	case c.known && c.unit.Dimension == unit.AngularVelocity:
		return signal.AngularVelocity, ""
	case c.known && c.unit.Dimension == unit.Acceleration && !c.has("fx", "fy", "fz"):
		return signal.LinearAcceleration, ""
	case c.known && c.unit.Dimension == unit.Pressure:
		return signal.Pressure, ""
	case c.known && c.unit.Dimension == unit.Force:
		return signal.Force, ""
	case c.known && c.unit.Dimension == unit.Speed, c.known && c.unit.Dimension == unit.Time:
		return "", "its unit is " + c.unit.Symbol
	case angular && c.starts("acc"):
		return "", "angular acceleration is computed from the angular velocity"
	case angular:
		return signal.AngularVelocity, ""
	case linear:
		return signal.LinearAcceleration, ""
	case c.starts("press", "tank"):
		return signal.Pressure, ""
	case c.starts("force") || c.has("fx", "fy", "fz", "load"):
		return signal.Force, ""
	}
	return "", "its header says nothing that is known"
}

func (c *guessed) numbered(stems ...string) bool {
	for _, t := range c.tokens {
		for _, s := range stems {
			if strings.TrimRight(t, "0123456789") == s {
				return true
			}
		}
	}
	return false
}
