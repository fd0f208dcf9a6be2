package interlab

import (
	"fmt"
	"math"
	"slices"
)

// Test is one test for outlying laboratories.
type Test struct {
	Name         string
	Laboratories []string // the one or two it looks at
	Statistic    float64
	At5, At1     float64 // critical values of 5 % and 1 %
	// SmallIsFar: the statistic is far out when below its critical values.
	SmallIsFar bool
	Verdict    Verdict
	Note       string
}

// judge compares with the critical values.
func (t *Test) judge() {
	beyond := func(critical float64) bool {
		if t.SmallIsFar {
			return t.Statistic < critical
		}
		return t.Statistic > critical
	}
	switch {
	case beyond(t.At1):
		t.Verdict = Outlier
	case beyond(t.At5):
		t.Verdict = Straggler
	default:
		t.Verdict = Consistent
	}
}

// mandel fills rows and critical lines. h is taken about the simple mean of
// the laboratories' means, whatever the numbers of replicates; k against the
// pooled s_r.
func (p *Precision) mandel(a ANOVA, names []string, m Method) {
	alphas := []float64{0.01, 0.05}
	if m == E691 {
		alphas = []float64{0.005}
	}
	h, sMean := standardised(a.centredMeans)
	p.SMean = sMean
	for _, alpha := range alphas {
		if a.Groups >= 3 {
			p.HCritical = append(p.HCritical, Line{alpha, HCritical(a.Groups, alpha)})
		}
		if p.Balanced {
			p.KCritical = append(p.KCritical, Line{alpha, KCritical(a.Groups, a.GroupSizes[0], alpha)})
		}
	}
	for g, name := range names {
		r := Row{Laboratory: name, N: a.GroupSizes[g], Mean: a.GroupMeans[g]}
		if sMean > 0 {
			r.H = new(h[g])
			r.HVerdict = lineVerdict(math.Abs(h[g]), p.HCritical)
		}
		if df := r.N - 1; df > 0 {
			r.SD = new(a.GroupSDs[g])
			if p.Sr > 0 && df < a.DFWithin {
				r.K = new(a.GroupSDs[g] / p.Sr)
				lines := make([]Line, len(alphas))
				for i, alpha := range alphas {
					lines[i] = Line{alpha, kCritical(df, a.DFWithin, alpha)}
				}
				r.KVerdict = lineVerdict(*r.K, lines)
			}
		}
		p.Rows = append(p.Rows, r)
	}
}

// standardised gives the deviations from the simple mean over their standard
// deviation.
func standardised(means []float64) (h []float64, sd float64) {
	n := float64(len(means))
	mean := 0.0
	for _, m := range means {
		mean += m / n
	}
	h = make([]float64, len(means))
	for i, m := range means {
		h[i] = m - mean
		sd += h[i] * h[i]
	}
	sd = math.Sqrt(sd / (n - 1))
	for i := range h {
		h[i] /= sd
	}
	return h, sd
}

func lineVerdict(v float64, lines []Line) Verdict {
	worst := Consistent
	for _, l := range lines {
		if v <= l.Value {
			continue
		}
		switch {
		case l.Alpha == 0.005:
			return Beyond
		case l.Alpha == 0.01:
			return Outlier
		default:
			worst = Straggler
		}
	}
	return worst
}

// scrutinise runs the tests in the order of ISO 5725-2, 7.3: Cochran, Grubbs
// for the highest and the lowest, and for the two highest and two lowest when
// neither of those found an outlier.
func (p *Precision) scrutinise(a ANOVA, names []string) {
	p.cochran(a, names)
	if p.SMean == 0 {
		p.Notes = append(p.Notes, "Grubbs: not applied, the laboratories' means are equal")
		return
	}
	if a.Groups < 3 {
		p.Notes = append(p.Notes, "Grubbs: not applied to fewer than three laboratories")
		return
	}
	order := make([]int, a.Groups)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case a.centredMeans[i] < a.centredMeans[j]:
			return -1
		case a.centredMeans[i] > a.centredMeans[j]:
			return 1
		}
		return 0
	})
	h, _ := standardised(a.centredMeans)
	found := false
	single := func(name string, i int, g float64) {
		t := Test{Name: name, Laboratories: []string{names[i]}, Statistic: g,
			At5: GrubbsCritical(a.Groups, 0.05), At1: GrubbsCritical(a.Groups, 0.01)}
		t.judge()
		found = found || t.Verdict == Outlier
		p.Tests = append(p.Tests, t)
	}
	low, high := order[0], order[a.Groups-1]
	single("Grubbs, highest", high, h[high])
	single("Grubbs, lowest", low, -h[low])
	if found {
		p.Notes = append(p.Notes, "Grubbs for two: not applied, the test for one found an outlier")
		return
	}
	at1, at5, ok := GrubbsPairCritical(a.Groups)
	if !ok {
		p.Notes = append(p.Notes, fmt.Sprintf("Grubbs for two: not tabulated for %d laboratories", a.Groups))
		return
	}
	pair := func(name string, out, rest []int) {
		t := Test{Name: name, Laboratories: []string{names[out[0]], names[out[1]]}, SmallIsFar: true, At1: at1, At5: at5,
			Statistic: squaresAbout(a.centredMeans, rest) / squaresAbout(a.centredMeans, order)}
		t.judge()
		p.Tests = append(p.Tests, t)
	}
	pair("Grubbs, two highest", order[a.Groups-2:], order[:a.Groups-2])
	pair("Grubbs, two lowest", order[:2], order[2:])
}

// squaresAbout sums the squares of the chosen values about their mean.
func squaresAbout(v []float64, chosen []int) float64 {
	mean, ss := 0.0, 0.0
	for _, i := range chosen {
		mean += v[i] / float64(len(chosen))
	}
	for _, i := range chosen {
		ss += (v[i] - mean) * (v[i] - mean)
	}
	return ss
}

// cochran tests the largest variance. The test is for equal numbers of
// replicates; with unequal ones the critical value is that of the number most
// laboratories have (of two equally frequent, the smaller), and a note says so.
func (p *Precision) cochran(a ANOVA, names []string) {
	count := map[int]int{}
	largest, sum, cells := -1, 0.0, 0
	for g, n := range a.GroupSizes {
		if n < 2 {
			continue
		}
		cells++
		count[n]++
		v := a.GroupSDs[g] * a.GroupSDs[g]
		sum += v
		if largest < 0 || a.GroupSDs[g] > a.GroupSDs[largest] {
			largest = g
		}
	}
	if cells < 2 || sum == 0 {
		p.Notes = append(p.Notes, "Cochran: not applied, it needs scatter within laboratories and two with replicates")
		return
	}
	usual := 0
	for n, c := range count {
		if c > count[usual] || (c == count[usual] && n < usual) {
			usual = n
		}
	}
	t := Test{Name: "Cochran", Laboratories: []string{names[largest]},
		Statistic: a.GroupSDs[largest] * a.GroupSDs[largest] / sum,
		At5:       CochranCritical(cells, usual, 0.05), At1: CochranCritical(cells, usual, 0.01)}
	if len(count) > 1 || cells < a.Groups {
		t.Note = fmt.Sprintf("numbers of replicates differ: critical values for %d laboratories with %d replicates each", cells, usual)
	}
	t.judge()
	p.Tests = append(p.Tests, t)
}
