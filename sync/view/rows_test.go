package view_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

func edit(t *testing.T, w *world, node, doc [16]byte, field string, value any, base ...lab.EditRef) lab.EditRef {
	t.Helper()
	e, err := lab.NewEdit(doc, lab.KindShot, field, value, base...)
	if err != nil {
		t.Fatal(err)
	}
	return w.sayAs(node, labA, doc, e)
}

func TestAssigning(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start(), func(s *lab.Shot) { s.Meta = lab.Meta{Location: "front"} }))
	waiting := func() int {
		l, err := w.ToAssign(w.ctx(), onlyA, view.Page{})
		if err != nil {
			t.Fatal(err)
		}
		return len(l.Rows)
	}
	labs := func() view.LabRow {
		l, err := w.Labs(w.ctx(), onlyA, 0)
		if err != nil || len(l) != 1 {
			t.Fatal(l, err)
		}
		return l[0]
	}
	if waiting() != 1 || labs().ToAssign != 1 {
		t.Errorf("%d wait, counted %d; want 1", waiting(), labs().ToAssign)
	}
	edit(t, w, node1, id, "specimen", "H-07")
	if waiting() != 1 {
		t.Error("a shot without target speed does not wait")
	}
	edit(t, w, node1, id, "target_speed_m_s", 5.5)
	if waiting() != 0 || labs().ToAssign != 0 {
		t.Error("a shot with all three still waits")
	}
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil || s.Shot.Specimen != "H-07" || *s.Shot.TargetSpeedMS != 5.5 || s.Shot.Location != "front" {
		t.Errorf("%+v, %v", s.Shot.Meta, err)
	}
	edit(t, w, node1, id, "specimen", nil)
	if waiting() != 1 {
		t.Error("a cleared specimen does not wait")
	}
	w.say(id, &lab.Void{Shot: id, Reason: "no helmet"})
	if waiting() != 0 {
		t.Error("a void shot waits")
	}
	w.say(id, &lab.Void{Shot: id, Reason: "was right", Lifted: true})
	if waiting() != 1 {
		t.Error("a shot that counts again does not wait")
	}
	edit(t, w, node1, id, "kind", lab.ShotDry)
	if waiting() != 0 {
		t.Error("a dry stroke waits")
	}
}

func TestConcurrentEditsAreShown(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	row := func() view.ShotRow {
		s, err := w.Shot(w.ctx(), onlyA, id)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	first := edit(t, w, node1, id, "specimen", "H-02")
	second := edit(t, w, node2, id, "specimen", "H-03") // without sight of the first
	r := row()
	if got := r.Conflicts(); !slices.Equal(got, []string{"specimen"}) || r.Shot.Specimen != "H-03" {
		t.Errorf("conflicts %v, specimen %s; want one, and the newest", got, r.Shot.Specimen)
	}
	if others := r.Edited["specimen"].Others; len(others) != 1 || others[0].Value != "H-02" || others[0].Ref != first {
		t.Errorf("others %+v", others)
	}
	if got := r.Base("specimen"); !slices.Equal(got, []lab.EditRef{second, first}) {
		t.Errorf("base %v", got)
	}
	edit(t, w, node2, id, "specimen", "H-02", r.Base("specimen")...)
	if r = row(); len(r.Conflicts()) != 0 || r.Shot.Specimen != "H-02" {
		t.Errorf("after settling: conflicts %v, specimen %s", r.Conflicts(), r.Shot.Specimen)
	}
	edit(t, w, node2, id, "specimen", "H-05") // the same origin knew its own
	if r = row(); len(r.Conflicts()) != 0 || r.Shot.Specimen != "H-05" {
		t.Errorf("the same writer again: conflicts %v, specimen %s", r.Conflicts(), r.Shot.Specimen)
	}
	h, err := w.History(w.ctx(), onlyA, lab.KindShot, id)
	if err != nil || len(h) != 4 {
		t.Errorf("%d edits kept, %v; want 4", len(h), err)
	}
}

// Equal values are no conflict; a value of the wrong type leaves the one before.
func TestHarmlessAndUnusableEdits(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	edit(t, w, node1, id, "operator", "op-3")
	edit(t, w, node2, id, "operator", "op-3")
	raw, err := record.EncodeBody(12)
	if err != nil {
		t.Fatal(err)
	}
	w.apply(w.stated(node1, labA, 9000, id, &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "location", Value: raw}))
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Conflicts()) != 0 || s.Shot.Operator != "op-3" || s.Shot.Location != "front" {
		t.Errorf("conflicts %v, operator %s, location %s", s.Conflicts(), s.Shot.Operator, s.Shot.Location)
	}
	odd, err := w.Odd(w.ctx(), onlyA, 0)
	if err != nil || len(odd) != 1 || odd[0].Kind != lab.KindEdit || !strings.Contains(odd[0].Why, "location") {
		t.Errorf("unusable records: %+v, %v", odd, err)
	}
}

func TestHiddenUntilStated(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Score(id, 5.4))
	w.say(id, &lab.Void{Shot: id, Reason: "strap"})
	edit(t, w, node1, id, "specimen", "H-09")
	if _, err := w.Shot(w.ctx(), onlyA, id); problem.Of(err) != problem.NotFound {
		t.Errorf("a shot without its record: %v", err)
	}
	if l, err := w.Shots(w.ctx(), onlyA, view.ShotFilter{}, view.Page{}); err != nil || len(l.Rows) != 0 {
		t.Errorf("listed: %v, %v", l, err)
	}
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil || !s.Void() || s.Shot.Specimen != "H-09" || s.Figures == nil || *s.Figures.ImpactSpeedMS != 5.4 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestNewestScoreIsShownAndOlderStay(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	late := w.stated(node1, labA, 2000, id, labtest.Score(id, 5.7, func(s *lab.Score) { s.Engine = "new" }))
	early := w.stated(node2, labA, 1500, id, labtest.Score(id, 5.2, func(s *lab.Score) { s.Engine = "old" }))
	w.apply(late, early)
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil || s.Figures.Engine != "new" || *s.Figures.ImpactSpeedMS != 5.7 {
		t.Errorf("%+v, %v", s.Figures, err)
	}
	all, err := w.Scores(w.ctx(), onlyA, id)
	if err != nil || len(all) != 2 || all[0].Score.Engine != "new" || all[1].Score.Engine != "old" {
		t.Errorf("%+v, %v", all, err)
	}
}

func TestCampaignProgress(t *testing.T) {
	w := openWorld(t)
	campaign := labtest.ID("campaign")
	w.say(campaign, &lab.Campaign{Name: "C", Specimens: []string{"H-01", "H-02"}, Cells: []lab.Cell{
		{Location: "Front", Condition: "ambient", TargetSpeedMS: 5.5, ToleranceMS: 0.1, Planned: 2},
		{Location: "rear", TargetSpeedMS: 7.4, Planned: 1},
	}})
	n := 0
	hit := func(change func(*lab.Shot), speed float64) [16]byte {
		n++
		id := labtest.ID("hit", n)
		w.say(id, labtest.Shot(rig1, labtest.Start().Add(time.Duration(n)*time.Minute), change))
		if speed > 0 {
			w.say(id, labtest.Score(id, speed))
		}
		return id
	}
	same := func(*lab.Shot) {}
	hit(same, 5.4)
	hit(func(s *lab.Shot) { s.Location = " FRONT" }, 5.6) // both ends of the tolerance count
	hit(same, 5.5)                                        // one more than planned
	hit(same, 5.601)                                      // off
	hit(same, 0)                                          // speed not known
	hit(func(s *lab.Shot) { s.SpeedMS = new(5.2) }, 0)    // typed, and off
	hit(func(s *lab.Shot) { s.Kind = lab.ShotDry }, 5.5)  // no hit
	hit(func(s *lab.Shot) { s.Condition = "hot" }, 5.5)   // another cell
	hit(func(s *lab.Shot) { s.Location, s.Condition, s.TargetSpeedMS = "rear", "", new(7.4) }, 3)
	id := hit(same, 5.5)
	w.say(id, &lab.Void{Shot: id, Reason: "strap"})
	w.sayAs(node2, labB, labtest.ID("foreign"), labtest.Shot(rig1, labtest.Start()))
	p, err := w.CampaignProgress(w.ctx(), scope.All(), campaign)
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		Specimen, Location                      string
		Planned, Done, Off, NoSpeed, Void, Left int64
	}
	var got []row
	for _, c := range slices.Concat(p.Cells, p.ByCell, []view.CellProgress{p.Total}) {
		got = append(got, row{c.Specimen, c.Cell.Location, c.Planned, c.Done, c.OffSpeed, c.NoSpeed, c.Void, c.Left()})
	}
	want := []row{
		{"H-01", "Front", 2, 4, 2, 1, 1, 0}, {"H-01", "rear", 1, 1, 0, 0, 0, 0},
		{"H-02", "Front", 2, 0, 0, 0, 0, 2}, {"H-02", "rear", 1, 0, 0, 0, 0, 1},
		{"", "Front", 4, 2, 2, 1, 1, 2}, {"", "rear", 2, 1, 0, 0, 0, 1}, {"", "", 6, 3, 2, 1, 1, 3},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]view.Outside{{Specimen: "H-01", Location: "front", Condition: "hot", TargetSpeedMS: new(5.5), N: 1, Why: view.OtherCondition}}, p.Outside); d != "" {
		t.Error(d)
	}
}

// A cell without a condition takes every condition that no cell of its location
// and speed names; what no cell takes is listed with the reason.
func TestCellWithoutACondition(t *testing.T) {
	w := openWorld(t)
	campaign := labtest.ID("campaign")
	w.say(campaign, &lab.Campaign{Name: "C", Specimens: []string{"H-01"}, Cells: []lab.Cell{
		{Location: "front", TargetSpeedMS: 5.5, Planned: 9},
		{Location: "front", Condition: "hot", TargetSpeedMS: 5.5, Planned: 9},
		{Location: "rear", Condition: "hot", TargetSpeedMS: 5.5, Planned: 9},
	}})
	n := 0
	hit := func(location, condition string, target *float64) {
		n++
		w.say(labtest.ID("hit", n), labtest.Shot(rig1, labtest.Start().Add(time.Duration(n)*time.Minute), func(s *lab.Shot) {
			s.Specimen, s.Location, s.Condition, s.TargetSpeedMS = "h-01", location, condition, target
		}))
	}
	speed := new(5.5)
	hit("front", "", speed)
	hit("front", "cold", speed)
	hit("front", "wet", speed)
	hit("front", "HOT", speed) // named by a cell of its own
	hit("rear", "", speed)
	hit("rear", "cold", speed)
	hit("rear", "cold", new(7.4))
	hit("rear", "hot", nil)
	hit("top", "hot", speed)
	hit("", "hot", speed)
	void := labtest.ID("hit", 2)
	w.say(void, &lab.Void{Shot: void, Reason: "strap"})
	p, err := w.CampaignProgress(w.ctx(), scope.All(), campaign)
	if err != nil {
		t.Fatal(err)
	}
	var got [][2]int64
	for _, c := range p.Cells {
		got = append(got, [2]int64{c.Done, c.Void})
	}
	if d := cmp.Diff([][2]int64{{2, 1}, {1, 0}, {0, 0}}, got); d != "" {
		t.Error(d)
	}
	why := map[view.Mismatch]int64{}
	for _, o := range p.Outside {
		why[o.Why] += o.N
	}
	want := map[view.Mismatch]int64{view.NoCondition: 1, view.OtherCondition: 1, view.OtherTarget: 1, view.NoTarget: 1, view.OtherLocation: 1, view.NoLocation: 1}
	if d := cmp.Diff(want, why); d != "" {
		t.Error(d)
	}
}

// All that a shot was void for stays, with author and time, in the order in
// which it was said.
func TestVoids(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	w.say(id, &lab.Void{Shot: id, Reason: "strap loose"})
	w.say(id, &lab.Void{Shot: id, Reason: "the strap was on", Lifted: true})
	got, err := w.Voids(w.ctx(), onlyA, id)
	if err != nil || len(got) != 2 || got[0].Reason != "strap loose" || got[0].Lifted || !got[1].Lifted || got[1].Author != "p1" || !got[1].RecordedAt.After(got[0].RecordedAt) {
		t.Errorf("%+v, %v", got, err)
	}
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil || s.Void() {
		t.Errorf("%+v, %v", s.Withdrawn, err)
	}
}

// What the ledger keeps record by record is what a rebuilt copy holds.
func TestFilledLabEqualsRebuilt(t *testing.T) {
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 150, labtest.Options{Blobs: n.Blobs})
	fresh := openWorld(t)
	var recs []record.Record
	for r, err := range n.Ledger.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		recs = append(recs, r)
	}
	slices.Reverse(recs)
	fresh.together(recs)
	err := n.Store.View(t.Context(), func(a kv.Reader) error {
		return fresh.store.View(t.Context(), func(b kv.Reader) error {
			diff, err := index.Compare(a, b, n.Views.Tables()...)
			for _, d := range diff {
				t.Error(d)
			}
			return err
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	l, err := n.Reader.Labs(t.Context(), scope.All(), 0)
	if err != nil || len(l) != 1 || l[0].Shots != 150 || l[0].Lab != f.Lab || !strings.HasPrefix(l[0].Name, "Lab ") || l[0].ToAssign == 0 {
		t.Errorf("labs %+v, %v", l, err)
	}
	s, err := n.Reader.Shot(t.Context(), scope.All(), f.Shots[0])
	if _, ok := s.Attachment(lab.RoleSource); err != nil || !ok {
		t.Errorf("shot %+v, %v", s, err)
	}
	if odd, err := n.Reader.Odd(t.Context(), scope.All(), 0); err != nil || len(odd) != 0 {
		t.Errorf("unusable records %+v, %v", odd, err)
	}
}
