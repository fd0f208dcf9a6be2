package simrig

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// WriteCSV writes a shot as comma-separated text: four lines that say what it
// is, a line of column names, then one row for each sample. The layout is this
// model's own. Rows end with a line feed.
func WriteCSV(w io.Writer, s Shot) error {
	b := bufio.NewWriterSize(w, 64<<10)
	b.WriteString("record of a simulated rig; not a measurement\n")
	b.WriteString("rig: " + oneLine(s.Rig) + "; seed: " + strconv.FormatUint(s.Seed, 10) + "; stroke: " + strconv.Itoa(s.Number) + "\n")
	b.WriteString("rate: " + strconv.FormatFloat(s.RateHz, 'f', -1, 64) + " Hz; t = 0 s: first contact\n")
	b.WriteString("units: t s")
	for _, c := range s.Channels {
		b.WriteString("; " + c.Name + " " + c.Unit)
	}
	b.WriteString("\nt")
	for _, c := range s.Channels {
		b.WriteString("," + c.Name)
	}
	b.WriteByte('\n')
	if len(s.Channels) == 0 {
		return b.Flush()
	}
	pre := -math.Round(s.StartS * s.RateHz)
	var line []byte
	for i := range s.Channels[0].Values {
		t := (float64(i) - pre) / s.RateHz
		line = strconv.AppendFloat(line[:0], math.Round(t*1e9)/1e9, 'f', -1, 64)
		for k := range s.Channels {
			c := &s.Channels[k]
			line = append(line, ',')
			line = strconv.AppendFloat(line, c.Values[i], 'f', c.decimals, 64)
		}
		line = append(line, '\n')
		if _, err := b.Write(line); err != nil {
			return err
		}
	}
	return b.Flush()
}

// oneLine keeps a name from looking like rows or columns.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r == ',' || unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s)
}
