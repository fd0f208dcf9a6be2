package view

import (
	"maps"
	"slices"
	"strings"

	"thudbook/sync/lab"
)

// Typed tells whether a person typed a field of the shot's meta: with the shot,
// or in the edit that holds. What came with the file, early or late, was not
// typed.
func (r *ShotRow) Typed(name string) bool {
	if e, edited := r.Edited[name]; edited {
		return e.Author != lab.AuthorMeta
	}
	return slices.Contains(r.Shot.MetaTyped, name)
}

// TypedFields lists the fields of meta that a person typed.
func (r *ShotRow) TypedFields() []string {
	names := slices.Concat(slices.Collect(maps.Keys(r.Edited)), r.Shot.MetaTyped)
	slices.Sort(names)
	return slices.DeleteFunc(slices.Compact(names), func(name string) bool {
		return strings.HasPrefix(name, "effective_") || !r.Typed(name)
	})
}
