package chart

import (
	"bytes"
	"html/template"
	"math"
	"strconv"
)

// Scatter is a still drawing of points and lines over two linear axes, as of
// speed over pressure, or of a control chart.
type Scatter struct {
	XLabel string // under the axis, as "tank pressure, kPa gauge"
	Unit   string // of the upright axis
	Counts bool   // X counts, as checks or strokes: only whole numbers are written
	Series []Series
}

// Series is one set of points, or with Line the line through them; values that
// are not finite are left out and break a line.
type Series struct {
	Label string
	X, Y  []float64
	Line  bool
	Dash  string // "y" or "z": the dashes of that axis
}

// HTML draws the series in one pane, with the classes of the page's style sheet
// and no script. Nothing that can be drawn gives nothing.
func (s Scatter) HTML() template.HTML {
	lowX, highX, lowY, highY := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, r := range s.Series {
		for i := range min(len(r.X), len(r.Y)) {
			if finite(r.X[i]) && finite(r.Y[i]) {
				lowX, highX, lowY, highY = min(lowX, r.X[i]), max(highX, r.X[i]), min(lowY, r.Y[i]), max(highY, r.Y[i])
			}
		}
	}
	if !(lowX <= highX) {
		return ""
	}
	x, y := padded(lowX, highX, 6), padded(lowY, highY, 5)
	if s.Counts {
		x = x.counting(lowX, highX)
	}
	var b bytes.Buffer
	b.WriteString(`<div class="pane"><div class="pane-unit">`)
	template.HTMLEscape(&b, []byte(paneUnit(s.Unit)))
	b.WriteString(`</div><ul class="key">`)
	for i, r := range s.Series {
		d := "M0 5H28"
		if !r.Line {
			d = "M14 5h0"
		}
		b.WriteString(`<li><svg class="sample" width="28" height="10" aria-hidden="true"><path class="` + r.class(i) + `" d="` + d + `"/></svg>`)
		template.HTMLEscape(&b, []byte(r.Label))
		b.WriteString("</li>")
	}
	b.WriteString(`</ul><div class="pane-plot">`)
	writeValueAxis(&b, y)
	s.draw(&b, x, y)
	b.WriteString(`</div></div>`)
	writeAxis(&b, x, s.XLabel)
	b.WriteString("\n")
	return template.HTML(b.String())
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (r Series) class(i int) string {
	c := curveClass(Channel{Axis: r.Dash}, i%4)
	if !r.Line {
		c += " dots"
	}
	return c
}

func (s Scatter) draw(b *bytes.Buffer, x, y scale) {
	const wide, full = columns * subpixels, paneHeight * subpixels
	col := func(v float64) string { return strconv.Itoa(int(math.Round(wide * x.part(v)))) }
	row := func(v float64) string { return strconv.Itoa(int(math.Round(full * (1 - y.part(v))))) }
	b.WriteString(`<svg class="wave" viewBox="0 0 ` + strconv.Itoa(wide) + ` ` + strconv.Itoa(full) + `" height="` + strconv.Itoa(paneHeight) + `" preserveAspectRatio="none" aria-hidden="true">`)
	for _, v := range y.ticks {
		class := "grid"
		if v == 0 {
			class = "zero"
		}
		b.WriteString(`<path class="` + class + `" d="M0 ` + row(v) + `H` + strconv.Itoa(wide) + `"/>`)
	}
	for _, v := range x.ticks {
		b.WriteString(`<path class="grid" d="M` + col(v) + ` 0V` + strconv.Itoa(full) + `"/>`)
	}
	for i, r := range s.Series {
		b.WriteString(`<path class="` + r.class(i) + `" d="`)
		pen := "M"
		for k := range min(len(r.X), len(r.Y)) {
			switch {
			case !finite(r.X[k]) || !finite(r.Y[k]):
				pen = "M"
				continue
			case r.Line:
				b.WriteString(pen + col(r.X[k]) + " " + row(r.Y[k]))
				pen = "L"
			default:
				b.WriteString("M" + col(r.X[k]) + " " + row(r.Y[k]) + "h0")
			}
		}
		b.WriteString(`"/>`)
	}
	b.WriteString(`</svg>`)
}
