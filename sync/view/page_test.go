package view_test

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Pages laid behind one another are the whole list, each row once, over
// several labs, many equal times, both directions, any filter and page size.
func TestPagesAreTheList(t *testing.T) {
	w := openWorld(t)
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		type want struct {
			at  lab.Time
			id  uuid.UUID
			lab record.LabID
		}
		f := view.ShotFilter{
			Specimen:  rapid.SampledFrom([]string{"", "h-01"}).Draw(rt, "specimen filter"),
			Rig:       rapid.SampledFrom([]uuid.UUID{uuid.Nil, rig1}).Draw(rt, "rig filter"),
			Specimens: rapid.SampledFrom([][]string{nil, {}, {"H-02"}, {"h-02 ", "H-01", "H-02"}, {"H-03", "h-01"}}).Draw(rt, "specimens filter"),
			Oldest:    rapid.Bool().Draw(rt, "oldest"),
			Void:      rapid.SampledFrom([]*bool{nil, new(true), new(false)}).Draw(rt, "void filter"),
		}
		if rapid.Bool().Draw(rt, "bounded") {
			f.From, f.To = lab.At(labtest.Start().Add(time.Minute)), lab.At(labtest.Start().Add(3*time.Minute))
		}
		sc := rapid.SampledFrom([]scope.Scope{scope.All(), scope.Labs(labA), scope.Labs(labB, labA)}).Draw(rt, "scope")
		var recs []record.Record
		var all []want
		for i := range rapid.IntRange(0, 40).Draw(rt, "shots") {
			of := rapid.SampledFrom([]record.LabID{labA, labB}).Draw(rt, "lab")
			rig := rapid.SampledFrom([]uuid.UUID{rig1, rig2}).Draw(rt, "rig")
			at := labtest.Start().Add(time.Duration(rapid.IntRange(0, 4).Draw(rt, "minute")) * time.Minute)
			specimen := rapid.SampledFrom([]string{"H-01", "H-02"}).Draw(rt, "specimen")
			void := rapid.Bool().Draw(rt, "void")
			id := labtest.ID("shot", i/2) // two labs may use one id
			if slices.ContainsFunc(all, func(o want) bool { return o.id == id && o.lab == of }) {
				continue
			}
			recs = append(recs, w.stated(node1, of, hlc.Time(i+1), id, labtest.Shot(rig, at, func(s *lab.Shot) { s.Specimen = specimen })))
			if void {
				recs = append(recs, w.stated(node1, of, hlc.Time(i+1), id, &lab.Void{Shot: id, Reason: "x"}))
			}
			x := want{lab.At(at), id, of}
			if sc.Allows(of) && (f.Specimen == "" || specimen == "H-01") && fitsOne(f.Specimens, specimen) && (f.Rig == uuid.Nil || f.Rig == rig) &&
				(f.Void == nil || *f.Void == void) && (f.From == 0 || x.at >= f.From && x.at < f.To) {
				all = append(all, x)
			} else {
				all = append(all, want{id: id, lab: of}) // only to keep ids apart
			}
		}
		all = slices.DeleteFunc(all, func(x want) bool { return x.at == 0 })
		w.together(recs)
		slices.SortFunc(all, func(a, b want) int {
			c := cmp.Or(cmp.Compare(a.at, b.at), bytes.Compare(a.id[:], b.id[:]), bytes.Compare(a.lab[:], b.lab[:]))
			if f.Oldest {
				return c
			}
			return -c
		})
		p := view.Page{Limit: rapid.IntRange(1, 7).Draw(rt, "limit")}
		var got []want
		for {
			l, err := w.Shots(w.ctx(), sc, f, p)
			if err != nil {
				rt.Fatalf("shots: %v", err)
			}
			if len(l.Rows) > p.Limit {
				rt.Fatalf("a page of %d has %d rows", p.Limit, len(l.Rows))
			}
			for _, s := range l.Rows {
				got = append(got, want{s.Shot.EffectiveAt, s.ID, s.Lab})
			}
			if p.After = l.Next; l.Next == "" {
				break
			}
		}
		if !slices.Equal(got, all) {
			rt.Fatalf("pages give\n%v\nwant\n%v", got, all)
		}
	})
}

func TestPageOfNonsense(t *testing.T) {
	w := openWorld(t)
	for _, after := range []string{"!", "AAAA", "////"} {
		if _, err := w.Shots(w.ctx(), scope.All(), view.ShotFilter{}, view.Page{After: after}); problem.Of(err) != problem.Invalid {
			t.Errorf("After %q: %v, want a problem with code invalid", after, err)
		}
		if _, err := w.SensorsDue(w.ctx(), scope.All(), labtest.Start(), view.Page{After: after}); problem.Of(err) != problem.Invalid {
			t.Errorf("SensorsDue after %q: %v, want a problem with code invalid", after, err)
		}
	}
}

// A filter that nothing fits does not walk the whole list in one page, and the
// pages still come to the one row that fits.
func TestRareRowsEndPagesEarly(t *testing.T) {
	w := openWorld(t)
	var recs []record.Record
	for i := range 5600 {
		recs = append(recs, w.stated(node1, labA, hlc.Time(i+1), labtest.ID(i), labtest.Shot(rig1, labtest.Start().Add(time.Duration(i)*time.Second), func(s *lab.Shot) {
			if i == 10 {
				s.Kind = lab.ShotSystemCheck
			}
		})))
	}
	w.together(recs)
	p, pages, found := view.Page{}, 0, 0
	for {
		l, err := w.Shots(w.ctx(), onlyA, view.ShotFilter{Kind: lab.ShotSystemCheck}, p)
		if err != nil {
			t.Fatal(err)
		}
		pages, found = pages+1, found+len(l.Rows)
		if p.After = l.Next; l.Next == "" {
			break
		}
	}
	if pages != 2 || found != 1 {
		t.Errorf("%d pages with %d rows, want 2 with 1", pages, found)
	}
}

func fitsOne(names []string, specimen string) bool {
	return names == nil || slices.ContainsFunc(names, func(s string) bool { return strings.EqualFold(strings.TrimSpace(s), specimen) })
}

// The shots of a campaign's few specimens are found whole among 20 000 of
// others: every page but the last is full, and no page is empty.
func TestSpecimensAmongMany(t *testing.T) {
	w := openWorld(t)
	w.empty(t)
	const many = 20_000
	var recs []record.Record
	want := 0
	for i := range many {
		name := fmt.Sprintf("other %d", i%50)
		if i%997 == 3 {
			name, want = []string{"H-01", "H-02", "h-03"}[want%3], want+1
		}
		recs = append(recs, w.stated(node1, labA, hlc.Time(i+1), labtest.ID("shot", i),
			labtest.Shot(rig1, labtest.Start().Add(time.Duration(i)*time.Minute), func(s *lab.Shot) { s.Specimen = name })))
	}
	w.together(recs)
	f := view.ShotFilter{Specimens: []string{"H-01", "H-02", "H-03", "H-04"}}
	got := 0
	for p := (view.Page{Limit: 5}); ; {
		l, err := w.Shots(w.ctx(), scope.All(), f, p)
		if err != nil {
			t.Fatal(err)
		}
		if got += len(l.Rows); len(l.Rows) == 0 || len(l.Rows) < 5 && l.Next != "" {
			t.Fatalf("a page of %d rows before the end, after %d", len(l.Rows), got)
		}
		if p.After = l.Next; p.After == "" {
			break
		}
	}
	if got != want || want != 21 {
		t.Errorf("%d shots on the pages, want %d (21)", got, want)
	}
}
