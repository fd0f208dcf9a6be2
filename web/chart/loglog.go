package chart

import (
	"bytes"
	"html/template"
	"math"
	"strconv"
)

// LogLog is a still drawing of curves over one positive axis, both axes
// logarithmic, as spectra are drawn.
type LogLog struct {
	X      []float64 // rising, above 0
	XLabel string    // under the axis, as "natural frequency, Hz"
	Unit   string    // of all curves
	Curves []LogCurve
}

// LogCurve is one curve; values that are not above 0 break it.
type LogCurve struct {
	Label string
	Axis  string // "x", "y", "z" or "" decides the dashes
	Y     []float64
}

// logDepth is how many decades below the highest value are drawn at most.
const logDepth = 4

// HTML draws the curves in one pane, with the classes of the page's style sheet and
// no script. Nothing that can be drawn gives nothing.
func (l LogLog) HTML() template.HTML {
	x, okX := decades(l.X)
	var all []float64
	for _, c := range l.Curves {
		if len(c.Y) == len(l.X) {
			all = append(all, c.Y...)
		}
	}
	y, okY := decades(all)
	if !okX || !okY {
		return ""
	}
	y = y.widened()
	var b bytes.Buffer
	b.WriteString(`<div class="pane"><div class="pane-unit">`)
	template.HTMLEscape(&b, []byte(paneUnit(l.Unit)))
	b.WriteString(`</div><ul class="key">`)
	for i, c := range l.Curves {
		b.WriteString(`<li><svg class="sample" width="28" height="10" aria-hidden="true"><path class="` + logClass(c, i) + `" d="M0 5H28"/></svg>`)
		template.HTMLEscape(&b, []byte(c.Label))
		b.WriteString("</li>")
	}
	b.WriteString(`</ul><div class="pane-plot">`)
	y.values(&b)
	l.waves(&b, x, y)
	b.WriteString(`</div></div><div class="time-axis"><svg width="100%" height="18" aria-hidden="true">`)
	for i, v := range x.ticks {
		part := x.part(v)
		if i > 0 && part-x.part(x.ticks[i-1]) < 0.045 { // 1, 2, 5 stand far apart enough; the ends may not
			continue
		}
		anchor := "middle"
		switch {
		case part < 0.03:
			anchor = "start"
		case part > 0.97:
			anchor = "end"
		}
		b.WriteString(`<text x="` + strconv.FormatFloat(100*part, 'f', 2, 64) + `%" y="13" text-anchor="` + anchor + `">` + tick(v) + `</text>`)
	}
	b.WriteString(`</svg><div class="time-unit">`)
	template.HTMLEscape(&b, []byte(l.XLabel))
	b.WriteString("</div></div>\n")
	return template.HTML(b.String())
}

func logClass(c LogCurve, i int) string {
	return curveClass(Channel{Axis: c.Axis}, i%4)
}

func (l LogLog) waves(b *bytes.Buffer, x, y logScale) {
	const full = paneHeight * subpixels
	b.WriteString(`<svg class="wave" viewBox="0 0 ` + strconv.Itoa(columns*subpixels) + ` ` + strconv.Itoa(full) + `" height="` + strconv.Itoa(paneHeight) + `" preserveAspectRatio="none" aria-hidden="true">`)
	col := func(v float64) string { return strconv.Itoa(int(math.Round(columns * subpixels * x.part(v)))) }
	row := func(v float64) string {
		return strconv.Itoa(int(math.Round(full * (1 - max(-1, min(2, y.part(v)))))))
	}
	for _, v := range y.ticks {
		b.WriteString(`<path class="grid" d="M0 ` + row(v) + `H` + strconv.Itoa(columns*subpixels) + `"/>`)
	}
	for _, v := range x.ticks {
		b.WriteString(`<path class="grid" d="M` + col(v) + ` 0V` + strconv.Itoa(full) + `"/>`)
	}
	for i, c := range l.Curves {
		if len(c.Y) != len(l.X) {
			continue
		}
		b.WriteString(`<path class="` + logClass(c, i) + `" d="`)
		pen := byte('M')
		for k, v := range c.Y {
			if !positive(v) || !positive(l.X[k]) {
				pen = 'M'
				continue
			}
			b.WriteByte(pen)
			b.WriteString(col(l.X[k]) + " " + row(v))
			pen = 'L'
		}
		b.WriteString(`"/>`)
	}
	b.WriteString(`</svg>`)
}

// logScale is a logarithmic axis with ticks at 1, 2 and 5 times powers of ten.
type logScale struct {
	low, high float64
	ticks     []float64
}

// decades makes the axis that holds the values above 0; ok is false without any.
func decades(values []float64) (s logScale, ok bool) {
	s.low = math.Inf(1)
	for _, v := range values {
		if positive(v) {
			s.low, s.high, ok = min(s.low, v), max(s.high, v), true
		}
	}
	if !ok {
		return s, false
	}
	s.low = max(s.low, s.high*math.Pow(10, -logDepth))
	if s.high/s.low < 1.01 {
		s.low, s.high = s.low/1.5, s.high*1.5
	}
	s.ticks = between(s.low, s.high)
	return s, true
}

// widened moves the ends outward to the next tick.
func (s logScale) widened() logScale {
	wide := between(s.low/2.5001, s.high*2.5001)
	low, high := wide[0], wide[len(wide)-1]
	for _, v := range wide {
		if v <= s.low {
			low = v
		}
	}
	for i := len(wide) - 1; i >= 0 && wide[i] >= s.high; i-- {
		high = wide[i]
	}
	return logScale{low, high, between(low, high)}
}

// between lists 1, 2 and 5 times powers of ten from low to high; only the powers
// where there would be more than ten.
func between(low, high float64) []float64 {
	list := func(factors ...float64) (out []float64) {
		for k := math.Floor(math.Log10(low)); k <= math.Ceil(math.Log10(high)); k++ {
			for _, m := range factors {
				if v := m * math.Pow(10, k); v >= low*(1-1e-9) && v <= high*(1+1e-9) {
					out = append(out, v)
				}
			}
		}
		return out
	}
	if all := list(1, 2, 5); len(all) <= 10 {
		return all
	}
	return list(1)
}

func (s logScale) part(v float64) float64 {
	return math.Log(v/s.low) / math.Log(s.high/s.low)
}

func (s logScale) values(b *bytes.Buffer) {
	b.WriteString(`<svg class="labels" width="` + strconv.Itoa(labelWidth) + `" height="` + strconv.Itoa(paneHeight) + `" aria-hidden="true">`)
	for _, v := range s.ticks {
		at := max(10, min(paneHeight-3, paneHeight*(1-s.part(v))+4))
		b.WriteString(`<text x="` + strconv.Itoa(labelWidth-6) + `" y="` + strconv.FormatFloat(at, 'f', 1, 64) + `" text-anchor="end">` + tick(v) + `</text>`)
	}
	b.WriteString(`</svg>`)
}

func tick(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
