package stocklist

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
)

// classOther is for what no class of the programs names.
const classOther = "other"

// Classes names the classes that a new item of a list may have.
func Classes() []string { return append(lab.Classes(), classOther) }

// named refuses a new item of a class that there is not, and writes the class
// as the programs do. Items that the register has keep the class they have.
func (r *row) named() error {
	all := Classes()
	at := slices.IndexFunc(all, func(c string) bool { return lab.Fold(c) == lab.Fold(r.item.Class) })
	if at < 0 {
		return fault(r.line, "class", fmt.Sprintf("“%s” is no class of equipment.", r.item.Class), "Write one of "+strings.Join(all, ", ")+".")
	}
	r.item.Class = all[at]
	return nil
}

// inOrder joins faults by the line that they name.
func inOrder(errs ...error) error {
	all := httpkit.Problems(errors.Join(errs...))
	if len(all) == 0 {
		return errors.Join(errs...)
	}
	line := func(p *problem.Error) (n int) {
		if _, err := fmt.Sscanf(p.Where, "line %d", &n); err != nil {
			return 0
		}
		return n
	}
	slices.SortStableFunc(all, func(a, b *problem.Error) int { return cmp.Compare(line(a), line(b)) })
	sorted := make([]error, len(all))
	for i, p := range all {
		sorted[i] = p
	}
	return errors.Join(sorted...)
}
