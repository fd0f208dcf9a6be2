package amend_test

import (
	"testing"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// What is said of a shot follows what was seen of it.
func TestVoidFollowsTheOneBefore(t *testing.T) {
	row := &view.ShotRow{Head: view.Head{ID: labtest.ID("shot"), MarkTurn: 4, Withdrawn: &view.Mark{Turn: 4}}}
	drafts, err := amend.Void("it was closed", true, amend.Seen(row), "p1")(row)
	if err != nil || len(drafts) != 1 {
		t.Fatalf("%d drafts, %v", len(drafts), err)
	}
	var v lab.Void
	if err := record.DecodeBody(drafts[0].Body, &v); err != nil || v.Turn != 5 || !v.Lifted {
		t.Errorf("%+v, %v; want turn 5", v, err)
	}
}
