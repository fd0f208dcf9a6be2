package interlab

import (
	"fmt"
	"slices"
	"strings"

	"thudbook/metrics/fault"
)

// Exclusion is a recorded decision to compute without a result. It removes
// nothing from the data.
type Exclusion struct {
	Laboratory string
	Replicate  int // counted from 1; 0 is the whole cell
	Reason     string
	Person     string // who decided
}

// Item is one result of a level with what was decided on it.
type Item struct {
	Laboratory string
	Replicate  int // counted from 1
	Value      float64
	Exclusion  *Exclusion // nil when in use
}

// Study is a level with and without the excluded results.
type Study struct {
	All        Precision // of everything reported
	Kept       Precision // without the excluded; equal to All when there are none
	Items      []Item    // every result, excluded ones as well
	Exclusions []Exclusion
}

// AnalyseExcluding computes the precision of a level with and without the
// excluded results. An exclusion must name a result that is there, once, with a
// reason and a person. Every error is a *fault.Error.
func AnalyseExcluding(l Level, exclusions []Exclusion, m Method) (Study, error) {
	s := Study{Exclusions: slices.Clone(exclusions)}
	var err error
	if s.All, err = Analyse(l, m); err != nil {
		return Study{}, err
	}
	for _, c := range l.Cells {
		for i, v := range c.Values {
			s.Items = append(s.Items, Item{Laboratory: c.Laboratory, Replicate: i + 1, Value: v})
		}
	}
	for i := range s.Exclusions {
		if err := s.mark(l.Name, &s.Exclusions[i]); err != nil {
			return Study{}, err
		}
	}
	if len(exclusions) == 0 {
		s.Kept = s.All
		return s, nil
	}
	kept := Level{Name: l.Name, Unit: l.Unit}
	for _, c := range l.Cells {
		k := Cell{Laboratory: c.Laboratory}
		for _, item := range s.Items {
			if item.Laboratory == c.Laboratory && item.Exclusion == nil {
				k.Values = append(k.Values, item.Value)
			}
		}
		kept.Cells = append(kept.Cells, k)
	}
	if s.Kept, err = Analyse(kept, m); err != nil {
		if f, ok := fault.As(err); ok {
			f.What = "without the excluded results: " + f.What
		}
		return Study{}, err
	}
	return s, nil
}

func (s *Study) mark(level string, e *Exclusion) error {
	bad := func(what, fix string) error {
		where := fmt.Sprintf("laboratory %q", e.Laboratory)
		if e.Replicate > 0 {
			where += fmt.Sprintf(", replicate %d", e.Replicate)
		}
		return &fault.Error{Code: BadExclusion,
			What: fmt.Sprintf("level %q, exclusion of %s: %s", level, where, what), Fix: fix}
	}
	if strings.TrimSpace(e.Reason) == "" || strings.TrimSpace(e.Person) == "" {
		return bad("the reason or the person is missing", "say why the result is left out and who decided it")
	}
	found := false
	for i := range s.Items {
		item := &s.Items[i]
		if item.Laboratory != e.Laboratory || (e.Replicate != 0 && item.Replicate != e.Replicate) {
			continue
		}
		if item.Exclusion != nil {
			return bad("it is excluded already", "keep one of the two exclusions")
		}
		item.Exclusion = e
		found = true
	}
	if !found {
		return bad("there is no such result", "name a laboratory of this level, and a replicate it has, or 0 for all")
	}
	return nil
}
