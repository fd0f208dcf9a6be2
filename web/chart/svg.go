package chart

import (
	"bytes"
	"html/template"
	"io"
	"math"
	"strconv"
)

// Size of the static drawing. Waves are drawn in columns and stretched by the
// browser to the width there is, with strokes that keep their width; labels
// stand beside them unstretched, so that they can be read on a phone.
const (
	columns    = 480
	paneHeight = 168
	labelWidth = 52
	subpixels  = 10 // vertical steps per pixel
)

// Static returns the traces as HTML with inline SVG, one pane per unit, styled
// by the page's style sheet alone (classes "pane", "wave", "hue0" to "hue3",
// "axis-x" …). It carries no style attributes and no script. What cannot be
// drawn is left out; Check says why.
func Static(t Traces) template.HTML {
	var b bytes.Buffer
	// Writing to a buffer does not fail.
	_ = WriteStatic(&b, t)
	return template.HTML(b.String())
}

// WriteStatic writes what Static returns. Every text from outside is escaped.
func WriteStatic(w io.Writer, t Traces) error {
	var b bytes.Buffer
	if t.Check() == nil && len(t.TimeS) > 0 {
		from, to := t.span()
		x := nice(from*1e3, to*1e3, 6, false)
		h := hues(t.Channels)
		for _, p := range panes(t) {
			writePane(&b, t, p, h, x, from, to)
		}
		writeAxis(&b, x, t.timeLabel())
	}
	_, err := w.Write(b.Bytes())
	return err
}

func writePane(b *bytes.Buffer, t Traces, p pane, hue []int, x scale, from, to float64) {
	curves := make([][]bucket, len(p.channels))
	low, high := 0.0, 0.0
	for i, c := range p.channels {
		if v := t.Channels[c].best(); v != nil {
			curves[i] = byTime(t.TimeS, v, from, to, columns)
		}
		for _, k := range curves[i] {
			if k.count > 0 {
				low, high = math.Min(low, k.low), math.Max(high, k.high)
			}
		}
	}
	y := nice(low, high, 5, true)
	b.WriteString(`<div class="pane"><div class="pane-unit">`)
	template.HTMLEscape(b, []byte(paneUnit(p.unit)))
	b.WriteString("</div>")
	writeKey(b, t, p, hue)
	b.WriteString(`<div class="pane-plot">`)
	writeValueAxis(b, y)
	writeWaves(b, t, p, curves, hue, x, y)
	b.WriteString("</div></div>\n")
}

func paneUnit(unit string) string {
	if unit == "" {
		return "no unit"
	}
	return unit
}

// writeKey names the curves of a pane beside a sample of their line.
func writeKey(b *bytes.Buffer, t Traces, p pane, hue []int) {
	b.WriteString(`<ul class="key">`)
	for _, i := range p.channels {
		c := t.Channels[i]
		b.WriteString(`<li><svg class="sample" width="28" height="10" aria-hidden="true"><path class="`)
		b.WriteString(curveClass(c, hue[i]))
		b.WriteString(`" d="M0 5H28"/></svg>`)
		template.HTMLEscape(b, []byte(c.label()))
		if c.Class != "" {
			b.WriteString(` <span class="muted">`)
			template.HTMLEscape(b, []byte(c.Class))
			b.WriteString(`</span>`)
		}
		b.WriteString("</li>")
	}
	b.WriteString("</ul>")
}

func curveClass(c Channel, hue int) string {
	s := "curve hue" + strconv.Itoa(hue)
	switch c.Axis {
	case "y":
		s += " axis-y"
	case "z":
		s += " axis-z"
	case "resultant":
		s += " axis-r"
	}
	return s
}

func writeValueAxis(b *bytes.Buffer, y scale) {
	b.WriteString(`<svg class="labels" width="` + strconv.Itoa(labelWidth) + `" height="` + strconv.Itoa(paneHeight) + `" aria-hidden="true">`)
	for _, v := range y.ticks {
		at := float64(paneHeight) * (1 - y.part(v))
		at = math.Max(10, math.Min(paneHeight-3, at+4)) // keep the outer ones inside
		b.WriteString(`<text x="` + strconv.Itoa(labelWidth-6) + `" y="` + strconv.FormatFloat(at, 'f', 1, 64) + `" text-anchor="end">` + number(v, y.digits) + `</text>`)
	}
	b.WriteString(`</svg>`)
}

func writeAxis(b *bytes.Buffer, x scale, label string) {
	b.WriteString(`<div class="time-axis"><svg width="100%" height="18" aria-hidden="true">`)
	for _, v := range x.ticks {
		part := x.part(v)
		anchor := "middle"
		switch {
		case part < 0.03:
			anchor = "start"
		case part > 0.97:
			anchor = "end"
		}
		b.WriteString(`<text x="` + strconv.FormatFloat(100*part, 'f', 2, 64) + `%" y="13" text-anchor="` + anchor + `">` + number(v, x.digits) + `</text>`)
	}
	b.WriteString(`</svg><div class="time-unit">`)
	template.HTMLEscape(b, []byte(label))
	b.WriteString(`</div></div>`)
}

func writeWaves(b *bytes.Buffer, t Traces, p pane, curves [][]bucket, hue []int, x, y scale) {
	full := paneHeight * subpixels
	b.WriteString(`<svg class="wave" viewBox="0 0 ` + strconv.Itoa(columns) + ` ` + strconv.Itoa(full) + `" height="` + strconv.Itoa(paneHeight) + `" preserveAspectRatio="none" aria-hidden="true">`)
	row := func(v float64) int {
		return int(math.Round(float64(full) * (1 - math.Max(-1, math.Min(2, y.part(v))))))
	}
	col := func(ms float64) int { return int(math.Round(columns * math.Max(0, math.Min(1, x.part(ms))))) }
	for _, m := range t.Marks {
		if m.Unit == p.unit || m.Unit == "" {
			a := col(m.FromS * 1e3)
			b.WriteString(`<rect class="mark" x="` + strconv.Itoa(a) + `" y="0" width="` + strconv.Itoa(max(1, col(m.ToS*1e3)-a)) + `" height="` + strconv.Itoa(full) + `"/>`)
		}
	}
	for _, v := range y.ticks {
		class := "grid"
		if v == 0 {
			class = "zero"
		}
		b.WriteString(`<path class="` + class + `" d="M0 ` + strconv.Itoa(row(v)) + `H` + strconv.Itoa(columns) + `"/>`)
	}
	for _, v := range x.ticks {
		b.WriteString(`<path class="grid" d="M` + strconv.Itoa(col(v)) + ` 0V` + strconv.Itoa(full) + `"/>`)
	}
	for i, c := range p.channels {
		if curves[i] == nil {
			continue
		}
		b.WriteString(`<path class="` + curveClass(t.Channels[c], hue[c]) + `" d="`)
		writePath(b, curves[i], row)
		b.WriteString(`"/>`)
	}
	b.WriteString(`</svg>`)
}

// writePath writes one curve: for each column a move to its first extreme and
// a vertical line to the second. A column whose samples were all lost breaks
// the curve; one without samples (fewer samples than columns) does not.
func writePath(b *bytes.Buffer, bs []bucket, row func(float64) int) {
	var n [20]byte
	num := func(v int) { b.Write(strconv.AppendInt(n[:0], int64(v), 10)) }
	pen, px, py := false, 0, 0
	for i := range bs {
		if bs[i].count == 0 {
			if bs[i].lost {
				pen = false
			}
			continue
		}
		f, s := bs[i].points()
		first, second := row(f), row(s)
		if pen {
			b.WriteByte('l')
			num(i - px)
			if first >= py {
				b.WriteByte(' ')
			}
			num(first - py)
		} else {
			b.WriteByte('M')
			num(i)
			b.WriteByte(' ')
			num(first)
			b.WriteString("h0") // a lone sample shows as a dot
		}
		if second != first {
			b.WriteByte('v')
			num(second - first)
		}
		pen, px, py = true, i, second
	}
}
