package httpkit

import "thudbook/sync/problem"

// Problems gives every problem of a joined error; what carries none is left out.
func Problems(err error) []*problem.Error {
	if p, ok := err.(*problem.Error); ok {
		return []*problem.Error{p}
	}
	switch e := err.(type) {
	case interface{ Unwrap() []error }:
		var all []*problem.Error
		for _, one := range e.Unwrap() {
			all = append(all, Problems(one)...)
		}
		return all
	case interface{ Unwrap() error }:
		return Problems(e.Unwrap())
	}
	return nil
}
