package view

import (
	"bytes"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// MaxRunSteps bounds the planned hits of a run order; a larger plan is listed
// as far as that.
const MaxRunSteps = 20_000

// StepState says how a planned hit stands.
type StepState string

// The states of a step.
const (
	StepOpen    StepState = "open"
	StepDone    StepState = "done"
	StepSkipped StepState = "skipped"
)

// RunStep is one planned hit in its place of the order.
type RunStep struct {
	lab.RunStep
	ToleranceMS float64 // 0: the speed is not judged
	State       StepState
	Reason      string    // of StepSkipped, as By and At
	By          string    // author
	At          time.Time // when it was said, UTC

	key string // of the step, folded once
}

// RunOrder is the order in which the hits of a campaign are fired.
type RunOrder struct {
	Campaign CampaignRow
	Steps    []RunStep
	Cut      bool // the plan has more than MaxRunSteps hits
}

// RunOrder gives the run order of a campaign: specimens in the order of the
// plan, each with its cells in theirs, changed by what people said since. Hits
// that count by CampaignProgress are done, the first of their specimen and cell
// first; a hit that is made void is to do again.
func (v *Reader) RunOrder(ctx context.Context, sc scope.Scope, id uuid.UUID, also ...record.LabID) (o RunOrder, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		w := Within(v, r)
		p, err := w.CampaignProgress(ctx, sc, id, also...)
		if err != nil {
			return err
		}
		changes, err := v.set.runs.all(r, sc, id[:])
		if err != nil {
			return err
		}
		slices.SortFunc(changes, func(a, b *said[lab.RunOrder]) int { return a.Stamp.Compare(b.Stamp) })
		o = RunOrder{Campaign: p.Campaign}
		o.lay(p.Cells)
		for _, c := range changes {
			o.change(c)
		}
		o.markDone(p.Cells)
		return nil
	})
	return o, err
}

// lay puts the plan's hits in its own order.
func (o *RunOrder) lay(cells []CellProgress) {
	for i := range cells {
		c := &cells[i]
		for hit := int64(1); hit <= c.Planned; hit++ {
			if len(o.Steps) == MaxRunSteps {
				o.Cut = true
				return
			}
			s := lab.RunStep{Specimen: c.Specimen, Location: c.Cell.Location, Condition: c.Cell.Condition, TargetSpeedMS: c.Cell.TargetSpeedMS, Hit: hit}
			o.Steps = append(o.Steps, RunStep{State: StepOpen, ToleranceMS: c.Cell.ToleranceMS, RunStep: s, key: stepKey(s)})
		}
	}
}

func (o *RunOrder) at(s lab.RunStep) int {
	key := stepKey(s)
	return slices.IndexFunc(o.Steps, func(x RunStep) bool { return x.key == key })
}

// change applies one change. A step that the plan no longer has is passed over,
// and so is a move in front of one.
func (o *RunOrder) change(c *said[lab.RunOrder]) {
	b := &c.Body
	i := o.at(b.Step)
	if i < 0 {
		return
	}
	s := o.Steps[i]
	to := len(o.Steps) - 1
	switch b.Do {
	case lab.RunSkip:
		o.Steps[i].State, o.Steps[i].Reason, o.Steps[i].By, o.Steps[i].At = StepSkipped, b.Reason, c.Author, utc(c.WallNS)
		return
	case lab.RunBack:
		o.Steps[i].State, o.Steps[i].Reason, o.Steps[i].By, o.Steps[i].At = StepOpen, "", "", time.Time{}
		return
	case lab.RunBefore:
		if to = o.at(*b.Before); to < 0 || to == i {
			return
		}
		if to > i { // s leaves its place first
			to--
		}
	}
	o.Steps = slices.Insert(slices.Delete(o.Steps, i, i+1), to, s)
}

// markDone marks as many hits of a specimen and cell as count.
func (o *RunOrder) markDone(cells []CellProgress) {
	left := make(map[string]int64, len(cells))
	for i := range cells {
		c := &cells[i]
		left[groupKey(lab.RunStep{Specimen: c.Specimen, Location: c.Cell.Location, Condition: c.Cell.Condition, TargetSpeedMS: c.Cell.TargetSpeedMS})] = c.Done
	}
	for i := range o.Steps {
		s := &o.Steps[i]
		if k := groupKey(s.RunStep); s.State == StepOpen && left[k] > 0 {
			left[k]--
			s.State = StepDone
		}
	}
}

// stepKey tells steps apart, as groupKey does specimens in cells.
func stepKey(s lab.RunStep) string { return groupKey(s) + string(kv.I64(s.Hit)) }

func groupKey(s lab.RunStep) string {
	return string(bytes.Join([][]byte{kv.Str(lab.Fold(s.Specimen)), kv.Str(lab.Fold(s.Location)), kv.Str(lab.Fold(s.Condition)),
		kv.U32(lab.MillimetresPerSecond(s.TargetSpeedMS))}, nil))
}

// Next gives the place of the first step that is to be fired and that may not
// refuses, -1 when there is none.
func (o *RunOrder) Next(may func(RunStep) bool) int {
	return slices.IndexFunc(o.Steps, func(s RunStep) bool { return s.State == StepOpen && may(s) })
}

// Count gives how many steps are in a state.
func (o *RunOrder) Count(state StepState) (n int) {
	for i := range o.Steps {
		if o.Steps[i].State == state {
			n++
		}
	}
	return n
}
