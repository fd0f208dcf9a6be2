package paper_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/web/paper"
)

func report(rows int) *paper.Report {
	r := &paper.Report{Title: "Who used the rigs", Facts: [][2]string{{"Lab", "Northmere lab"}, {"Months", "2031-01 to 2031-03"}},
		Head: []string{"Operator", "Strokes", "Share"}, Widths: []float64{5, 2, 2}, Right: []bool{false, true, true},
		Foot: []string{"in all", "12", "100 %"}, Notes: []string{"Every stroke counts, dry and void ones too."},
		Made: time.Date(2031, 3, 14, 15, 9, 26, 0, time.FixedZone("", 3600)), By: "Thudbook, Test server"}
	for i := range rows {
		r.Rows = append(r.Rows, []string{fmt.Sprintf("operator %03d, Øystein Łuczak", i), "12", "1.5 %"})
	}
	return r
}

// text is what another program (pdftotext of poppler) reads in a file.
func text(t *testing.T, pdf []byte) (all string, pages int) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext (make test-tools installs it): %v", err)
	}
	return string(out), strings.Count(string(out), "\f")
}

// Every row is in the file, once; names with letters of other alphabets are
// whole; each page has the head, its number and when it was made.
func TestReportIsReadByAnotherProgram(t *testing.T) {
	pdf, err := report(200).PDF()
	if err != nil {
		t.Fatal(err)
	}
	got, pages := text(t, pdf)
	for i := range 200 {
		if want := fmt.Sprintf("operator %03d, Øystein Łuczak", i); strings.Count(got, want) != 1 {
			t.Errorf("%q is there %d times", want, strings.Count(got, want))
		}
	}
	if pages < 4 || strings.Count(got, "Operator") != pages || strings.Count(got, fmt.Sprintf("of %d", pages)) != pages || strings.Count(got, "2031-03-14 15:09:26 +01:00") != pages {
		t.Errorf("%d pages, %d heads, %d numbers:\n%.1500s", pages, strings.Count(got, "Operator"), strings.Count(got, fmt.Sprintf("of %d", pages)), got)
	}
	for _, want := range []string{"Who used the rigs", "2031-01 to 2031-03", "in all", "Every stroke counts"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing", want)
		}
	}
	again, err := report(200).PDF()
	if err != nil || !bytes.Equal(pdf, again) {
		t.Errorf("the same report gives other bytes, %v", err)
	}
}

func TestReportWithoutRowsAndWithLongText(t *testing.T) {
	r := report(0)
	r.Rows = [][]string{{strings.Repeat("a name that does not fit one line ", 6), "1", "100 %"}}
	pdf, err := r.PDF()
	if err != nil {
		t.Fatal(err)
	}
	if got, pages := text(t, pdf); pages != 1 || strings.Count(got, "a name that does not") != 6 {
		t.Errorf("%d pages:\n%s", pages, got)
	}
	if pdf, err = report(0).PDF(); err != nil {
		t.Fatal(err)
	}
	if got, _ := text(t, pdf); !strings.Contains(got, "Operator") {
		t.Error("without rows the head is missing")
	}
	if _, err := (&paper.Report{Head: []string{"a"}}).PDF(); err == nil {
		t.Error("a head without widths was set")
	}
}
