// Package paper sets a report as PDF (ISO 32000-1), A4, with fonts of its own in
// the file. The same report gives the same bytes.
package paper

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// Report is a page of facts with one table.
type Report struct {
	Title  string
	Facts  [][2]string // what it is about: label and value
	Head   []string
	Right  []bool // columns of numbers
	Widths []float64
	Rows   [][]string
	Foot   []string // the last row; nil: none
	Notes  []string
	Made   time.Time // stands on every page, with its zone
	By     string    // program and server, on every page
}

// Lengths in mm, sizes in points.
const (
	margin     = 15.0
	pageWidth  = 210.0
	pageHeight = 297.0
	line       = 5.2
	bodySize   = 9.5
	family     = "sans"
)

// PDF sets the report. Widths are shares of the line; text that does not fit
// its column goes on in further lines.
func (r *Report) PDF() ([]byte, error) {
	if len(r.Head) == 0 || len(r.Widths) != len(r.Head) || len(r.Right) != len(r.Head) {
		return nil, fmt.Errorf("paper: %d columns with %d widths and %d alignments", len(r.Head), len(r.Widths), len(r.Right))
	}
	f := fpdf.New("P", "mm", "A4", "")
	f.SetCatalogSort(true)
	f.SetCreationDate(r.Made.UTC())
	f.SetModificationDate(r.Made.UTC())
	f.SetTitle(r.Title, true)
	f.SetCreator("Thudbook", true)
	f.SetMargins(margin, margin, margin)
	f.SetAutoPageBreak(false, margin)
	f.AddUTF8FontFromBytes(family, "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes(family, "B", liberationsansbold.TTF)
	f.AliasNbPages("{pages}")
	f.SetFooterFunc(func() {
		f.SetY(pageHeight - margin)
		f.SetFont(family, "", 7.5)
		f.CellFormat(0, 4, fmt.Sprintf("%s · %s · page %d of {pages}", r.By, r.Made.Format("2006-01-02 15:04:05 -07:00"), f.PageNo()), "", 0, "L", false, 0, "")
	})
	s := &setter{f: f, r: r}
	s.newPage()
	s.head()
	s.table()
	f.SetFont(family, "", 8.5)
	for _, n := range r.Notes {
		s.room(3 * line)
		f.Ln(2)
		f.MultiCell(0, 4.4, n, "", "L", false)
	}
	var b bytes.Buffer
	if err := f.Output(&b); err != nil {
		return nil, fmt.Errorf("set the report: %w", err)
	}
	return b.Bytes(), nil
}

type setter struct {
	f *fpdf.Fpdf
	r *Report
}

func (s *setter) newPage() { s.f.AddPage() }

// room begins a new page where so much height is not left.
func (s *setter) room(height float64) bool {
	if s.f.GetY()+height <= pageHeight-margin-6 {
		return false
	}
	s.newPage()
	return true
}

func (s *setter) head() {
	s.f.SetFont(family, "B", 15)
	s.f.MultiCell(0, 8, s.r.Title, "", "L", false)
	s.f.Ln(1)
	for _, x := range s.r.Facts {
		s.f.SetFont(family, "", bodySize)
		s.f.CellFormat(38, line, x[0], "", 0, "L", false, 0, "")
		s.f.SetFont(family, "B", bodySize)
		s.f.MultiCell(0, line, x[1], "", "L", false)
	}
	s.f.Ln(3)
}

func (s *setter) table() {
	s.row(s.r.Head, "B", "B")
	for _, row := range s.r.Rows {
		s.row(row, "", "")
	}
	if s.r.Foot != nil {
		s.row(s.r.Foot, "B", "T")
	}
}

// row sets one row, as high as its highest cell; on a new page the head comes
// first.
func (s *setter) row(cells []string, style, border string) {
	s.f.SetFont(family, style, bodySize)
	total := 0.0
	for _, w := range s.r.Widths {
		total += w
	}
	lines := make([][]string, len(cells))
	most := 1
	for i, c := range cells {
		w := (pageWidth - 2*margin) * s.r.Widths[i] / total
		lines[i] = s.f.SplitText(c, w-2)
		most = max(most, len(lines[i]))
	}
	if s.room(float64(most)*line) && style == "" {
		s.row(s.r.Head, "B", "B")
		s.f.SetFont(family, style, bodySize)
	}
	for n := range most {
		edge := ""
		if border == "B" && n == most-1 || border == "T" && n == 0 {
			edge = border
		}
		for i := range cells {
			text, align := "", "L"
			if n < len(lines[i]) {
				text = lines[i][n]
			}
			if s.r.Right[i] {
				align = "R"
			}
			s.f.CellFormat((pageWidth-2*margin)*s.r.Widths[i]/total, line, text, edge, 0, align, false, 0, "")
		}
		s.f.Ln(line)
	}
}
