package httpkit

import "errors"

// lead is an error whose screen links to where it can be mended.
type lead struct {
	error
	text, href string
}

func (l *lead) Unwrap() error { return l.error }

// LeadTo adds a link to the screen of an error. What programs get stays as it was.
func LeadTo(err error, text, href string) error { return &lead{err, text, href} }

func leadOf(err error) (text, href string) {
	if l, ok := errors.AsType[*lead](err); ok {
		return l.text, l.href
	}
	return "", ""
}
