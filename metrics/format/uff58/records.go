package uff58

import (
	"fmt"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// records reads the eleven records before the data. It returns false when the
// dataset ends within them; its Fault then says so, and its end is passed.
func (r *reader) records(d *Dataset) bool {
	for i := range 11 {
		line, ok := r.lines.Next()
		text := strings.TrimRight(textline.Text(line), " ")
		// An ID line may hold anything, but none is "-1" in columns 5 and 6.
		if !ok || r.closes([]byte(text)) {
			if r.lines.Err() == nil {
				d.fail(&fault.Error{Code: fault.Truncated, Line: r.lines.Line(), What: fmt.Sprintf("the dataset ends after %d of its 11 records", i), Fix: "export the file again"})
			}
			return false
		}
		if i < 5 {
			d.ID[i] = none(text)
			continue
		}
		if what := d.record(i+1, text); what != "" {
			d.fail(&fault.Error{Code: fault.BadNumber, Line: r.lines.Line(), What: fmt.Sprintf("record %d of the dataset: %s", i+1, what), Fix: "export the file again; the columns of the record are fixed"})
		}
	}
	return true
}

// none gives "" for what is not known.
func none(s string) string {
	s = strings.TrimSpace(s)
	if strings.EqualFold(s, "NONE") {
		return ""
	}
	return textline.Clip(s, 80)
}

// record reads records 6 to 11; it returns what is wrong.
func (d *Dataset) record(n int, text string) string {
	c := &columns{text: text}
	switch n {
	case 6:
		d.FunctionType = c.whole(0, 5)
		d.Entity = none(cut(text, 31, 41))
		d.Node, d.Direction = c.whole(41, 51), c.whole(51, 55)
		if c.bad != "" {
			return d.loose6(text, c.bad)
		}
		if d.Direction < -6 || d.Direction > 6 {
			return fmt.Sprintf("the response direction %d is outside -6 to 6", d.Direction)
		}
	case 7:
		return d.record7(text)
	case 8:
		d.Abscissa = c.axis()
	case 9:
		d.Ordinate = c.axis()
	}
	return c.bad
}

// loose6 takes record 6 by its words when the columns are not kept.
func (d *Dataset) loose6(text, bad string) string {
	w := strings.Fields(text)
	if len(w) < 7 {
		return bad
	}
	var err [3]error
	d.FunctionType, err[0] = strconv.Atoi(w[0])
	d.Entity = none(w[4])
	d.Node, err[1] = strconv.Atoi(w[5])
	d.Direction, err[2] = strconv.Atoi(w[6])
	for _, e := range err {
		if e != nil {
			return bad
		}
	}
	if d.Direction < -6 || d.Direction > 6 {
		return fmt.Sprintf("the response direction %d is outside -6 to 6", d.Direction)
	}
	return ""
}

// record7 takes data type, count, spacing, minimum and increment: by words
// where there are six or more, else by columns, which then touch.
func (d *Dataset) record7(text string) string {
	w := strings.Fields(text)
	if len(w) < 5 {
		w = nil
		for _, col := range [][2]int{{0, 10}, {10, 20}, {20, 30}, {30, 43}, {43, 56}} {
			w = append(w, strings.TrimSpace(cut(text, col[0], col[1])))
		}
	}
	dataType, err := strconv.Atoi(w[0])
	if err != nil {
		return fmt.Sprintf("%q is no ordinate data type", textline.Clip(w[0], 20))
	}
	d.DataType = dataType
	if d.Declared, err = strconv.ParseInt(w[1], 10, 64); err != nil {
		return fmt.Sprintf("%q is no number of values", textline.Clip(w[1], 20))
	}
	switch w[2] {
	case "0":
	case "1":
		d.Even = true
	default:
		return fmt.Sprintf("the spacing is %q, and not 0 (uneven) or 1 (even)", textline.Clip(w[2], 20))
	}
	start, ok1 := textline.Number([]byte(w[3]))
	step, ok2 := textline.Number([]byte(w[4]))
	if d.Even && (!ok1 || !ok2) {
		return fmt.Sprintf("%q and %q are not minimum and increment of the abscissa", textline.Clip(w[3], 20), textline.Clip(w[4], 20))
	}
	d.Start, d.Step, d.StepDigits = start, step, textline.Digits([]byte(w[4]))
	return ""
}

// columns takes a record apart by its fixed columns; the first fault stays.
type columns struct {
	text string
	bad  string
}

func cut(text string, from, to int) string {
	if from >= len(text) {
		return ""
	}
	return text[from:min(to, len(text))]
}

// whole is a whole number; blank is 0, as Fortran reads it.
func (c *columns) whole(from, to int) int {
	s := strings.TrimSpace(cut(c.text, from, to))
	if s == "" {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil && c.bad == "" {
		c.bad = fmt.Sprintf("%q in columns %d to %d is no whole number", s, from+1, to)
	}
	return n
}

// axis reads I10,3I5,2(1X,20A1).
func (c *columns) axis() Axis {
	a := Axis{Type: c.whole(0, 10), Length: c.whole(10, 15), Force: c.whole(15, 20), Temperature: c.whole(20, 25)}
	a.Label, a.Unit = none(cut(c.text, 26, 46)), none(cut(c.text, 47, 67))
	if c.bad == "" {
		return a
	}
	w := strings.Fields(c.text) // columns are not kept: type, three exponents, label, unit
	n := [4]int{}
	if len(w) < 4 {
		return a
	}
	for i := range n {
		v, err := strconv.Atoi(w[i])
		if err != nil {
			return a
		}
		n[i] = v
	}
	c.bad = ""
	a = Axis{Type: n[0], Length: n[1], Force: n[2], Temperature: n[3]}
	if len(w) >= 6 {
		a.Label, a.Unit = none(w[len(w)-2]), none(w[len(w)-1])
	}
	return a
}
