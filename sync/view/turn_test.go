package view_test

import (
	"slices"
	"testing"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

// What a rig said by a clock that was a month ahead gives way to what somebody
// says who saw it, and whose clock is right; in whatever order the two come.
func TestLaterSayHoldsOverAClockThatWasAhead(t *testing.T) {
	const ahead, right = hlc.Time(9_000_000), hlc.Time(5_000)
	shot := labtest.ID("shot")
	for _, backwards := range []bool{false, true} {
		w := openWorld(t)
		recs := []record.Record{
			w.stated(node1, labA, ahead, shot, labtest.Shot(rig1, labtest.Start())),
			w.stated(node1, labA, ahead+1, shot, labtest.Score(shot, 5.1)),
			w.stated(node1, labA, ahead+2, shot, &lab.Void{Shot: shot, Reason: "chin strap open"}),
			w.stated(node2, labA, right, shot, labtest.Score(shot, 5.6, func(s *lab.Score) { s.Turn = 1 })),
			w.stated(node2, labA, right+1, shot, &lab.Void{Shot: shot, Reason: "it was closed", Lifted: true, Turn: 1}),
		}
		if backwards {
			slices.Reverse(recs)
		}
		w.apply(recs...)
		r, err := w.Shot(t.Context(), onlyA, shot)
		if err != nil {
			t.Fatal(err)
		}
		if v := r.SpeedMS(); r.Void() || v == nil || *v != 5.6 || r.ScoreTurn != 1 || r.MarkTurn != 1 {
			t.Errorf("backwards %v: void %v, turns %d and %d, speed %v, want 5.6", backwards, r.Void(), r.ScoreTurn, r.MarkTurn, v)
		}
		scores, err := w.Scores(t.Context(), onlyA, shot)
		if err != nil || len(scores) != 2 || scores[0].Score.Turn != 1 {
			t.Errorf("backwards %v: the first of %d scores is not the later one, %v", backwards, len(scores), err)
		}
		voids, err := w.Voids(t.Context(), onlyA, shot)
		if err != nil || len(voids) != 2 || !voids[1].Lifted {
			t.Errorf("backwards %v: voids %+v, %v", backwards, voids, err)
		}
	}
}
