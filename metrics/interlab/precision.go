package interlab

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
)

// Method says which practice is followed. With equal numbers of replicates
// both give the same standard deviations.
type Method int

const (
	// ISO5725 allows unequal numbers of replicates (7.4 there): the general
	// mean is weighted by them, and h and k have lines at 1 % and 5 %.
	ISO5725 Method = iota
	// E691 wants equal numbers, takes the simple mean of the laboratories'
	// means, and has lines at 0.5 %.
	E691
)

// String names the practice.
func (m Method) String() string {
	if m == E691 {
		return "ASTM E691"
	}
	return "ISO 5725-2"
}

const (
	// LimitFactor turns a standard deviation into the limit that the difference
	// of two results exceeds one time in twenty: 1.96 √2, rounded (ISO 5725-6).
	LimitFactor = 2.8
	// EnoughLaboratories is the number below which a precision is only
	// indicative (ASTM E691 wants six; eight to fifteen are usual).
	EnoughLaboratories = 6
)

// Precision is what the laboratories' results say of a method at one level.
type Precision struct {
	Name, Unit   string
	Method       string
	Laboratories int // with results
	Results      int
	Balanced     bool
	// Indicative: fewer laboratories than a precision statement needs.
	Indicative bool

	Mean  float64 // weighted by replicates (ISO 5725-2) or simple (ASTM E691)
	SMean float64 // standard deviation of the laboratories' means
	Sr    float64 // repeatability standard deviation
	SL    float64 // between-laboratory standard deviation
	SR    float64 // reproducibility standard deviation
	// SLBelowZero: the estimate of the variance between laboratories came out
	// negative and was set to zero.
	SLBelowZero bool
	// MeanReplicates stands for n where the numbers differ (ISO 5725-2, 7.4.5).
	MeanReplicates       float64
	RepeatabilityLimit   float64 // r = 2.8 s_r
	ReproducibilityLimit float64 // R = 2.8 s_R
	DFRepeatability      int     // degrees of freedom of s_r
	Rows                 []Row   // by laboratory, in the order given
	Tests                []Test  // Cochran, then Grubbs
	Notes                []string
	HCritical, KCritical []Line // KCritical only where all have equal numbers
}

// Row is one laboratory. A pointer is nil where the statistic does not exist.
type Row struct {
	Laboratory string
	N          int
	Mean       float64
	SD         *float64 // nil with one result
	H, K       *float64 // Mandel: between and within laboratories
	HVerdict   Verdict
	KVerdict   Verdict
}

// Line is a critical value at a level such as 0.01.
type Line struct{ Alpha, Value float64 }

// Analyse computes the precision of a level. It needs two laboratories, and
// one of them with replicates. Every error is a *fault.Error that names level
// and laboratory.
func Analyse(l Level, m Method) (Precision, error) {
	a, names, err := l.anova()
	if err != nil {
		return Precision{}, err
	}
	p := Precision{
		Name: l.Name, Unit: l.Unit, Method: m.String(),
		Laboratories: a.Groups, Results: a.N, Balanced: true,
		Indicative: a.Groups < EnoughLaboratories, DFRepeatability: a.DFWithin,
	}
	for _, n := range a.GroupSizes {
		p.Balanced = p.Balanced && n == a.GroupSizes[0]
	}
	if m == E691 && !p.Balanced {
		return Precision{}, &fault.Error{Code: NotBalanced,
			What: fmt.Sprintf("level %q: the laboratories have different numbers of replicates, and ASTM E691 wants equal ones", l.Name),
			Fix:  "analyse it after ISO 5725-2, which allows for that"}
	}
	p.variances(a)
	p.mandel(a, names, m)
	p.scrutinise(a, names)
	if p.Indicative {
		p.Notes = append(p.Notes, fmt.Sprintf("%d laboratories: indicative only, a precision statement needs %d",
			p.Laboratories, EnoughLaboratories))
	}
	return p, nil
}

// variances after ISO 5725-2, 7.4.5.
func (p *Precision) variances(a ANOVA) {
	total, squares := 0.0, 0.0
	for _, n := range a.GroupSizes {
		total += float64(n)
		squares += float64(n) * float64(n)
	}
	p.MeanReplicates = (total - squares/total) / float64(a.DFBetween)
	p.Mean = a.Mean
	vr := a.MeanSquareWithin
	vl := (a.MeanSquareBetween - vr) / p.MeanReplicates
	if vl < 0 {
		vl, p.SLBelowZero = 0, true
	}
	p.Sr, p.SL, p.SR = math.Sqrt(vr), math.Sqrt(vl), math.Sqrt(vl+vr)
	p.RepeatabilityLimit, p.ReproducibilityLimit = LimitFactor*p.Sr, LimitFactor*p.SR
}

// anova checks the level and analyses it; names are those of the cells with
// results, in order.
func (l Level) anova() (ANOVA, []string, error) {
	seen := make(map[string]bool, len(l.Cells))
	var groups [][]float64
	var names []string
	for _, c := range l.Cells {
		if seen[c.Laboratory] {
			return ANOVA{}, nil, &fault.Error{Code: RepeatedLaboratory,
				What: fmt.Sprintf("level %q lists laboratory %q twice", l.Name, c.Laboratory),
				Fix:  "join the two into one cell, or name them apart"}
		}
		seen[c.Laboratory] = true
		for i, v := range c.Values {
			if !usable(v) {
				return ANOVA{}, nil, &fault.Error{Code: BadResult,
					What: fmt.Sprintf("level %q, laboratory %q, replicate %d is %g, which is no result", l.Name, c.Laboratory, i+1, v),
					Fix:  "correct the result, or leave the replicate out of the table"}
			}
		}
		if len(c.Values) > 0 {
			groups = append(groups, c.Values)
			names = append(names, c.Laboratory)
		}
	}
	a, err := OneWay(groups)
	if err == nil {
		return a, names, nil
	}
	f, ok := fault.As(err)
	if !ok {
		return ANOVA{}, nil, err
	}
	switch f.Code {
	case TooFewLaboratories:
		f.What = fmt.Sprintf("level %q has results of %d laboratories; two are needed at least", l.Name, len(groups))
		f.Fix = "add the results of another laboratory"
	case TooFewReplicates:
		f.What = fmt.Sprintf("level %q: no laboratory has more than one result, so there is no repeatability", l.Name)
		f.Fix = "add replicates"
	}
	return ANOVA{}, nil, f
}
