package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"text/tabwriter"

	"thudbook/metrics/score"
)

// printReport writes a report for people: a table, then what to mind.
func printReport(w io.Writer, rep score.Report) {
	fmt.Fprintln(w, rep.File)
	if rep.Error != nil {
		fmt.Fprintf(w, "  error: %v\n", rep.Error)
	}
	tw := tabwriter.NewWriter(w, 2, 0, 2, ' ', tabwriter.AlignRight)
	var notes []string
	for _, name := range slices.Sorted(maps.Keys(rep.Results)) {
		r := rep.Results[name]
		uncertainty := ""
		if r.ExpandedUncertainty != nil {
			uncertainty = fmt.Sprintf("± %.3g (k = 2)", *r.ExpandedUncertainty)
		}
		fmt.Fprintf(tw, "  %s\t%.5g\t%s\t%s\t\n", name, r.Value, r.Unit, uncertainty)
		if r.Note != "" {
			notes = append(notes, fmt.Sprintf("  remark on %s: %s", name, r.Note))
		}
	}
	_ = tw.Flush() // w is a bufio.Writer, whose own Flush reports errors
	for _, p := range rep.Published {
		bound := ""
		if p.Bound != "" {
			bound = p.Bound + " "
		}
		fmt.Fprintf(w, "  published function: %s: %s%.3g. %s\n", p.Name, bound, p.Value, p.Sentence)
	}
	for _, n := range notes {
		fmt.Fprintln(w, n)
	}
	for _, f := range rep.Flags {
		where := ""
		if f.Channel != "" {
			where = " " + f.Channel
		}
		fmt.Fprintf(w, "  flag %s%s: %s\n", f.Code, where, f.Text)
	}
}

// researchValues ends what score prints for people.
const researchValues = "HIC, BrIC, GAMBIT and DAMAGE are research and test values: no medical advice, no certification."
