package delimited

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// decimal is a number as it is written: (-1)^neg · mantissa · 10^exp10, exact.
type decimal struct {
	mantissa uint64
	exp10    int
	neg      bool
}

// maxDigits is how many decimal digits always fit a uint64.
const maxDigits = 19

// scan reads a plain decimal at line[i:], point being the decimal sign. It
// returns the index behind it, or -1 when there is none in a form this fast
// path takes (the slow path then decides).
//
// The array behind line must go on for slack bytes, the first of them no
// digit: digits are taken eight at a time.
func scan(line []byte, i int, point byte) (d decimal, next int) {
	full := line[:len(line)+slack]
	if c := full[i]; c == '-' {
		d.neg = true
		i++
	} else if c == '+' {
		i++
	}
	first := i
	m, n := eight(full, i)
	i += n
	digits := n
	for n == 8 {
		var v uint64
		v, n = eight(full, i)
		m = m*pow10[n] + v
		i += n
		digits += n
	}
	if full[i] == point && i < len(line) {
		i++
		fraction := i
		for n = 8; n == 8; {
			var v uint64
			v, n = eight(full, i)
			m = m*pow10[n] + v
			i += n
		}
		digits += i - fraction
		d.exp10 = fraction - i
	}
	if digits == 0 || digits > maxDigits && digits-leadingZeros(line[first:i], point) > maxDigits {
		return d, -1
	}
	d.mantissa = m
	if c := full[i]; (c == 'e' || c == 'E') && i < len(line) {
		e, j := scanExponent(line, i+1)
		if j < 0 {
			return d, -1
		}
		d.exp10 += e
		i = j
	}
	return d, i
}

// slack is how many bytes past a line scan may look at.
const slack = 16

// eight takes up to eight digits at b[i:]: their value and number. All eight
// bytes are worked on at once, one digit in each byte of a word, the first in
// the lowest: neighbours are joined to pairs, pairs to fours, fours to eight.
func eight(b []byte, i int) (value uint64, n int) {
	w := binary.LittleEndian.Uint64(b[i:]) ^ 0x3030303030303030 // digits become 0 to 9
	odd := ((w + 0x7676767676767676) | w) & 0x8080808080808080  // the lowest mark is right
	n = bits.TrailingZeros64(odd) >> 3
	w <<= (64 - 8*uint(n)) & 127 // zeros in front of the digits; 64 clears all
	w = (w*10 + w>>8) & 0x00ff00ff00ff00ff
	w = (w*100 + w>>16) & 0x0000ffff0000ffff
	return (w*10000 + w>>32) & 0xffffffff, n
}

// leadingZeros counts the zeros before the first other digit.
func leadingZeros(number []byte, point byte) int {
	n := 0
	for _, c := range number {
		switch c {
		case '0':
			n++
		case point:
		default:
			return n
		}
	}
	return n
}

// scanExponent reads what follows the e.
func scanExponent(line []byte, i int) (e, next int) {
	neg := false
	if i < len(line) && (line[i] == '-' || line[i] == '+') {
		neg = line[i] == '-'
		i++
	}
	start := i
	for i < len(line) && line[i]-'0' <= 9 {
		if i-start >= 4 {
			return 0, -1
		}
		e = e*10 + int(line[i]-'0')
		i++
	}
	if i == start {
		return 0, -1
	}
	if neg {
		e = -e
	}
	return e, i
}

// value rounds the decimal to the nearest float64, ties to even, as
// strconv.ParseFloat does; ok is false when the slow path must do it.
//
// Up to 2^53 and 10^22 both operands are exact, so one division or product
// rounds once (Clinger 1990). Beyond, 10^k = 2^k·5^k with 5^27 < 2^63 makes
// quotient and product exact integers of at most 128 bits, rounded once here.
func (d decimal) value() (v float64, ok bool) {
	k := d.exp10
	switch {
	case d.mantissa < 1<<53 && k <= 0 && k >= -22:
		v = float64(int64(d.mantissa)) / exact10[-k]
	case d.mantissa == 0:
		v = 0
	case d.mantissa < 1<<53 && k > 0 && k <= 22:
		v = float64(int64(d.mantissa)) * exact10[k]
	case k < 0 && k >= -27:
		v = divide(d.mantissa, k)
	case k >= 0 && k <= 27:
		hi, lo := bits.Mul64(d.mantissa, pow5[k])
		v = round128(hi, lo, k)
	default:
		return 0, false
	}
	sign := uint64(0)
	if d.neg {
		sign = 1 << 63
	}
	return math.Float64frombits(math.Float64bits(v) | sign), true
}

// divide gives m·10^k for -27 ≤ k < 0 and m > 0, correctly rounded.
func divide(m uint64, k int) float64 {
	den := pow5[-k]
	ld, lm := bits.LeadingZeros64(den), bits.LeadingZeros64(m)
	den <<= ld
	m <<= lm
	// m/2 < 2^63 ≤ den, so the quotient m·2^63/den fits 64 bits and is > 2^62.
	q, r := bits.Div64(m>>1, m<<63, den)
	if r != 0 {
		q |= 1 // below the rounding bit: only says that more follows
	}
	return scale(q, ld-lm+k-63)
}

// round128 gives (hi·2^64 + lo)·2^k, correctly rounded.
func round128(hi, lo uint64, k int) float64 {
	if hi == 0 {
		return scale(lo, k)
	}
	s := bits.LeadingZeros64(hi)
	top := hi<<s | lo>>(64-s)
	if lo<<s != 0 {
		top |= 1
	}
	return scale(top, k+64-s)
}

// scale gives q·2^e with one rounding, for results in the normal range.
func scale(q uint64, e int) float64 {
	s := bits.LeadingZeros64(q)
	q <<= s
	e -= s
	m := q >> 11 // 53 bits
	rest := q & (1<<11 - 1)
	if rest > 1<<10 || rest == 1<<10 && m&1 == 1 {
		m++ // a carry to 2^53 is still exact below
	}
	return float64(m) * math.Float64frombits(uint64(e+11+1023)<<52)
}

// slow reads a cell that scan did not take: quotes, blanks, a Fortran exponent,
// many digits, words. point is the decimal sign.
func slow(cell []byte, point byte) (v float64, kind badKind) {
	s := strings.TrimSpace(string(unquote(cell)))
	if s == "" {
		return math.NaN(), badBlank
	}
	if notFinite(s) {
		return math.NaN(), badNotFinite
	}
	if point != '.' {
		if strings.IndexByte(s, '.') >= 0 {
			return math.NaN(), badText
		}
		s = strings.Replace(s, string(point), ".", 1)
	}
	s = strings.Replace(s, "\u2212", "-", 1) // the minus sign of typography
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9', c == '+', c == '-', c == '.', c == 'e', c == 'E':
		case (c == 'd' || c == 'D') && i > 0:
			s = s[:i] + "e" + s[i+1:]
		default:
			return math.NaN(), badText
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err == nil:
		return v, good
	case math.IsInf(v, 0):
		return math.NaN(), badNotFinite
	}
	return math.NaN(), badText
}

// notFinite knows the words for "no number" that programs print.
func notFinite(s string) bool {
	s = strings.ToLower(strings.TrimLeft(s, "+-"))
	switch s {
	case "nan", "inf", "infinity", "1.#inf", "1.#qnan", "1.#ind", "1.#snan", "nan(ind)", "qnan", "∞":
		return true
	}
	return false
}

// unquote strips blanks and one pair of double quotes; doubled quotes inside
// become one.
func unquote(cell []byte) []byte {
	cell = trim(cell)
	if len(cell) >= 2 && cell[0] == '"' && cell[len(cell)-1] == '"' {
		return []byte(strings.ReplaceAll(string(cell[1:len(cell)-1]), `""`, `"`))
	}
	return cell
}

func trim(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t' || b[0] == '\r') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == '\r') {
		b = b[:len(b)-1]
	}
	return b
}

// pow10 holds the powers of ten for up to eight digits; never written.
var pow10 = [...]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}

// exact10 holds the powers of ten that a float64 holds exactly; never written.
var exact10 = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// pow5 holds the powers of five that a uint64 holds; never written.
var pow5 = [...]uint64{
	1, 5, 25, 125, 625, 3125, 15625, 78125, 390625, 1953125, 9765625, 48828125,
	244140625, 1220703125, 6103515625, 30517578125, 152587890625, 762939453125,
	3814697265625, 19073486328125, 95367431640625, 476837158203125,
	2384185791015625, 11920928955078125, 59604644775390625, 298023223876953125,
	1490116119384765625, 7450580596923828125,
}
