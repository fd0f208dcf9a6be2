// Package delimited reads columns of numbers from text files as acquisition
// programs write them. It finds out by itself: encoding and byte order mark,
// line ends, delimiter, decimal sign, lines before the header, the header, a
// row of units, comment lines. It streams: memory is one block of the file, one
// line, and the columns that were asked for.
//
// Numbers are rounded as strconv.ParseFloat rounds them, to the nearest
// float64, ties to even.
package delimited

// Force holds what is known of a file beforehand; zero values are found out.
type Force struct {
	Delimiter  byte   // ',' ';' '\t' '|', or ' ' for runs of blanks and tabs
	Decimal    byte   // '.' or ','
	Encoding   string // "utf-8", "utf-16le", "utf-16be", "latin1"
	HeaderRows int    // lines before the first row of numbers
}

// Dialect is how a file is written.
type Dialect struct {
	Delimiter  byte
	Decimal    byte
	Encoding   string
	HeaderRows int // lines before the first row of numbers
	Width      int // cells in a row
}

// badKind says why a cell is no number.
type badKind byte

const (
	good         badKind = iota
	badText              // "OVER", "1,234.5"
	badBlank             // nothing
	badNotFinite         // NaN, infinite, or too large for a float64
)

// MaxColumns is the largest number of cells in a row that is read.
const MaxColumns = 4096
