package delimited

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// plain is the fast path of the commonest cells: an optional minus, at most seven
// digits, the decimal sign, digits up to fifteen in all, and the delimiter or the end
// of the line behind them. It takes cells from line[i:] on into the slots given, up to
// the first that is written otherwise, which is left to number. It returns how many
// it took and the index behind the last of them.
//
// Nothing but the number of digits decides where the next cell begins, and the sign
// is no branch, so the processor works on several cells at once.
func (p *parser) plain(line []byte, i int, slots []int) (cells, next int) {
	full := line[:len(line)+slack]
	point, delim, row := p.fast, p.delim, p.rows
	for _, slot := range slots {
		if slot < 0 {
			break
		}
		minus := 0
		if full[i] == '-' {
			minus = 1
		}
		i += minus
		whole := load(full, i) ^ asciiZeros
		n := digitsBefore(whole)
		i += n
		if n == 8 || full[i] != point {
			break
		}
		fraction := load(full, i+1) ^ asciiZeros
		f := digitsBefore(fraction)
		m := joined(whole, n)
		if f < 8 {
			m = m*pow10[f] + joined(fraction, f)
		} else { // up to fifteen digits in all are below 2^53, so exact as a float64
			more := load(full, i+9) ^ asciiZeros
			g := digitsBefore(more)
			f += g
			if n+f > 15 {
				break
			}
			m = (m*1e8+eightOf(fraction))*pow10[g] + joined(more, g)
		}
		i += 1 + f
		if n+f == 0 || full[i] != delim && i != len(line) {
			break
		}
		v := float64(int64(m)) / exact10[f]
		p.cols[slot][row] = math.Float64frombits(math.Float64bits(v) | uint64(minus)<<63)
		if slot == p.timeAt {
			p.printed(decimal{mantissa: m, exp10: -f})
		}
		cells++
		next = i
		if i == len(line) {
			break
		}
		i++
	}
	return cells, next
}

// load gives the eight bytes at b[i:], the first in the lowest place.
func load(b []byte, i int) uint64 { return binary.LittleEndian.Uint64(b[i : i+8 : i+8]) }

// asciiZeros turns eight digits as they are written into eight numbers 0 to 9.
const asciiZeros = 0x3030303030303030

// digitsBefore counts the bytes of w, from the lowest, that are numbers 0 to 9.
func digitsBefore(w uint64) int {
	odd := ((w + 0x7676767676767676) | w) & 0x8080808080808080 // the lowest mark is right
	return bits.TrailingZeros64(odd) >> 3
}

// joined is the value of the first n < 8 digits of w.
func joined(w uint64, n int) uint64 {
	return eightOf(w << 8 << ((56 - 8*uint(n)) & 63)) // zeros in front of the digits
}

// eightOf is the value of eight digits. All of them are worked on at once:
// neighbours are joined to pairs, pairs to fours, fours to eight.
func eightOf(w uint64) uint64 {
	w = (w*10 + w>>8) & 0x00ff00ff00ff00ff
	w = (w*100 + w>>16) & 0x0000ffff0000ffff
	return (w*10000 + w>>32) & 0xffffffff
}
