package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"thudbook/metrics/score"
	"thudbook/metrics/shock"
)

// printSpectra writes the spectra of one file for people: a column of maximax
// absolute acceleration for each channel.
func printSpectra(w io.Writer, rep *score.Report, s *shock.Spectra, unfiltered bool) {
	fmt.Fprintln(w, rep.File)
	if rep.Error != nil {
		fmt.Fprintf(w, "  error: %v\n", rep.Error)
	}
	if s == nil {
		return
	}
	of := "as filtered by the channel map"
	if unfiltered {
		of = "unfiltered"
	}
	fmt.Fprintf(w, "  Shock response spectrum: maximax absolute acceleration in g, Q = %.4g (damping ratio %.4g), %d an octave, record %s\n", s.Q, s.DampingRatio, s.PerOctave, of)
	tw := tabwriter.NewWriter(w, 2, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "  Hz\t")
	for i := range s.Curves {
		fmt.Fprintf(tw, "%s\t", curveName(&s.Curves[i]))
	}
	fmt.Fprint(tw, "largest\t\n")
	for i, f := range s.FrequenciesHz {
		fmt.Fprintf(tw, "  %.1f\t", f)
		for k := range s.Curves {
			fmt.Fprintf(tw, "%.2f\t", s.Curves[k].Points[i].Maximax())
		}
		if g, k := s.Largest(i); k >= 0 {
			fmt.Fprintf(tw, "%.2f\t\n", g)
		} else {
			fmt.Fprint(tw, "-\t\n")
		}
	}
	_ = tw.Flush() // w is a bufio.Writer, whose own Flush reports errors
	for _, l := range s.LeftOut {
		fmt.Fprintf(w, "  left out: channel %s: %s\n", l.Channel, l.Why)
	}
	for _, n := range s.Notes() {
		fmt.Fprintf(w, "  mind, %s: %s\n", strings.Join(n.Channels, ", "), n.Text)
	}
	for _, f := range rep.Flags {
		where := ""
		if f.Channel != "" {
			where = " " + f.Channel
		}
		fmt.Fprintf(w, "  flag %s%s: %s\n", f.Code, where, f.Text)
	}
}

// curveName is a channel with its axis, where that adds something.
func curveName(c *shock.Curve) string {
	if a := c.Axis.String(); a != "" {
		return c.Channel + " (" + a + ")"
	}
	return c.Channel
}
