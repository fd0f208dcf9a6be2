package exchange

import (
	"context"
	"fmt"

	"thudbook/sync/record"
)

// about tells whether a lab is one that the session is about.
func (s *session) about(ctx context.Context, lab record.LabID) (bool, error) {
	if s.o.Only == nil {
		return true, nil
	}
	ok, err := s.o.Only(ctx, lab)
	if err != nil {
		return false, fmt.Errorf("whether lab %s is exchanged: %w", lab, err)
	}
	return ok, nil
}

// narrow hears the aliases of the welcome, and leaves in it only what the
// session is about: a server has no say in labs that it was not asked for.
func (s *session) narrow(ctx context.Context) error {
	if s.o.Aliases != nil && len(s.w.Aliases) > 0 {
		if err := s.o.Aliases(ctx, s.w.Aliases); err != nil {
			return fmt.Errorf("keep other names of labs: %w", err)
		}
	}
	if s.o.Only == nil {
		return nil
	}
	var labs []record.LabID
	for _, l := range s.w.Labs {
		ok, err := s.about(ctx, l)
		if err != nil {
			return err
		}
		if ok {
			labs = append(labs, l)
		}
	}
	s.w.Labs, s.res.Labs = labs, labs
	var vector []HeadEntry
	for _, e := range s.w.Vector {
		if s.sees(e.Origin.Lab) {
			vector = append(vector, e)
		}
	}
	s.w.Vector = vector
	receipts := s.w.Receipts[:0:0]
	for _, r := range s.w.Receipts {
		if s.sees(r.Origin.Lab) {
			receipts = append(receipts, r)
		}
	}
	s.w.Receipts = receipts
	return nil
}
