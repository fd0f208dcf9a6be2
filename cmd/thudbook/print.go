package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/web/page"
	"thudbook/web/present"
)

// printReport writes a report for people: a table with the names, units and digits
// of the screens, then what to mind.
func printReport(w io.Writer, rep score.Report) {
	fmt.Fprintln(w, rep.File)
	if rep.Error != nil {
		fmt.Fprintf(w, "  error: %v\n", rep.Error)
	}
	for _, line := range aligned(resultLines(&rep)) {
		fmt.Fprintln(w, line)
	}
	for _, p := range rep.Published {
		bound := ""
		if p.Bound != "" {
			bound = p.Bound + " "
		}
		fmt.Fprintf(w, "  published function: %s: %s%.3g %%. %s\n", p.Name, bound, 100*p.Value, p.Sentence)
	}
	for _, f := range rep.Flags {
		where := ""
		if f.Channel != "" {
			where = " " + f.Channel
		}
		fmt.Fprintf(w, "  flag %s%s: %s\n", f.Code, where, f.Text)
	}
}

// Columns of the table: name, value, uncertainty, unit, time, remark.
const printColumns = 6

// resultLines are the cells of the table, its head first; none without results.
func resultLines(rep *score.Report) [][printColumns]string {
	if len(rep.Results) == 0 {
		return nil
	}
	all := make(map[string]lab.Result, len(rep.Results))
	for key, r := range rep.Results {
		all[key] = lab.Result(r)
	}
	lines := [][printColumns]string{{"result", "value", "± (k = 2)", "unit", "at, ms", "remark"}}
	for _, r := range present.Results(all) {
		name := r.Name
		if name == "" {
			name = page.MetricName(r.Key)
		}
		at := r.At.Text
		if r.To.Text != "" {
			at += " to " + r.To.Text
		}
		lines = append(lines, [printColumns]string{name, r.Value.Text, r.Value.Uncertainty, r.Value.Unit, at, r.Note})
	}
	return lines
}

// aligned puts cells under each other, numbers to the right; a column in which
// nothing stands is left out.
func aligned(lines [][printColumns]string) []string {
	var width [printColumns]int
	for i, l := range lines {
		for k, cell := range l {
			if i > 0 && cell != "" {
				width[k] = max(width[k], utf8.RuneCountInString(cell), utf8.RuneCountInString(lines[0][k]))
			}
		}
	}
	rightward := []int{1, 2, 4}
	out := make([]string, 0, len(lines))
	for _, l := range lines {
		var b strings.Builder
		for k, cell := range l {
			if width[k] == 0 {
				continue
			}
			pad := strings.Repeat(" ", width[k]-utf8.RuneCountInString(cell))
			if slices.Contains(rightward, k) {
				cell = pad + cell
			} else {
				cell += pad
			}
			b.WriteString("  " + cell)
		}
		out = append(out, strings.TrimRight(b.String(), " "))
	}
	return out
}

// researchValues ends what score prints for people.
const researchValues = "All results are research and test values: no medical advice, no certification."
