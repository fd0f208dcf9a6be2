package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/sync/care"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// Random appends, exchanges in any batch and order, restarts and rebuilds on
// two nodes agree with lists in memory, and at the end, when everything was
// exchanged, logs and views are byte for byte the same (I3, I5).
func TestModel(t *testing.T) {
	labs := []record.LabID{labA, labB}
	rapid.Check(t, func(rt *rapid.T) {
		nodes := []*ledgertest.Ledger{
			ledgertest.Open(t, ledgertest.Options{Views: notes{}, NoBlobs: true}),
			ledgertest.Open(t, ledgertest.Options{Views: notes{}, NoBlobs: true}),
		}
		defer nodes[0].Stop(t)
		defer nodes[1].Stop(t)
		want := []map[record.Origin][][]byte{{}, {}} // per node: origin -> exact bytes
		pick := rapid.IntRange(0, 1)
		rt.Repeat(map[string]func(*rapid.T){
			"append": func(rt *rapid.T) {
				i, lab := pick.Draw(rt, "node"), rapid.SampledFrom(labs).Draw(rt, "lab")
				var drafts []ledger.Draft
				for k := range rapid.IntRange(1, 4).Draw(rt, "drafts") {
					drafts = append(drafts, draft("note", fmt.Sprint(k)))
				}
				recs, err := nodes[i].Append(t.Context(), lab, drafts...)
				if err != nil {
					rt.Fatalf("Append: %v", err)
				}
				o := nodes[i].Own(lab)
				if len(want[i][o]) == 0 {
					first, err := nodes[i].Get(t.Context(), record.Ref{Origin: o, Seq: 1})
					if err != nil || first.Kind != record.KindGenesis {
						rt.Fatalf("first record of %s: %v, %v", o, first.Kind, err)
					}
					want[i][o] = append(want[i][o], first.Raw)
				}
				want[i][o] = append(want[i][o], raws(recs)...)
			},
			"send": func(rt *rapid.T) {
				from := pick.Draw(rt, "from")
				o := nodes[from].Own(rapid.SampledFrom(labs).Draw(rt, "lab"))
				all := want[from][o]
				a := rapid.IntRange(0, len(all)).Draw(rt, "a")
				b := rapid.IntRange(a, len(all)).Draw(rt, "b")
				checkSend(rt, t, nodes[1-from], want[1-from], o, a, all[a:b])
			},
			"restart": func(rt *rapid.T) { nodes[pick.Draw(rt, "node")].Reopen(t) },
			"rebuild": func(rt *rapid.T) {
				if err := nodes[pick.Draw(rt, "node")].Rebuild(t.Context(), notes{}); err != nil {
					rt.Fatalf("Rebuild: %v", err)
				}
			},
			"": func(rt *rapid.T) {
				for i, n := range nodes {
					checkHeads(rt, t, n, want[i])
				}
			},
		})
		settle(rt, t, nodes, want)
	})
}

// checkSend sends a part of a chain and says what must come of it.
func checkSend(rt *rapid.T, t *testing.T, to *ledgertest.Ledger, has map[record.Origin][][]byte, o record.Origin, from int, part [][]byte) {
	have := len(has[o])
	head, err := to.AppendForeign(t.Context(), o, part)
	switch {
	case len(part) == 0:
		if err != nil || head.Seq != uint64(have) {
			rt.Fatalf("nothing sent to a chain of %d: head %d, %v", have, head.Seq, err)
		}
	case from > have:
		if !errors.Is(err, record.ErrGap) || head.Seq != uint64(have) {
			rt.Fatalf("records from %d to a chain of %d: head %d, %v", from+1, have, head.Seq, err)
		}
	case err != nil:
		rt.Fatalf("AppendForeign: %v", err)
	default:
		if end := from + len(part); end > have {
			has[o] = append(has[o], part[have-from:]...)
		}
		if head.Seq != uint64(len(has[o])) {
			rt.Fatalf("head %d, want %d", head.Seq, len(has[o]))
		}
	}
}

func checkHeads(rt *rapid.T, t *testing.T, n *ledgertest.Ledger, want map[record.Origin][][]byte) {
	heads, err := n.Heads(t.Context())
	if err != nil {
		rt.Fatalf("Heads: %v", err)
	}
	count := 0
	for o, all := range want {
		if len(all) == 0 {
			continue
		}
		count++
		w := record.Head{Seq: uint64(len(all)), Hash: record.HashOf(all[len(all)-1])}
		if heads[o] != w {
			rt.Fatalf("head of %s is %v, want %v", o, heads[o], w)
		}
	}
	if len(heads) != count {
		rt.Fatalf("%d heads, want %d", len(heads), count)
	}
}

// settle exchanges everything and compares logs and views.
func settle(rt *rapid.T, t *testing.T, nodes []*ledgertest.Ledger, want []map[record.Origin][][]byte) {
	for i := range nodes {
		for o, all := range want[i] {
			if o.Node == nodes[i].Node.ID {
				checkSend(rt, t, nodes[1-i], want[1-i], o, 0, all)
			}
		}
	}
	var logs [2][][]byte
	for i, n := range nodes {
		for r, err := range n.All(t.Context()) {
			if err != nil {
				rt.Fatalf("All: %v", err)
			}
			logs[i] = append(logs[i], r.Raw)
		}
		report, err := n.Verify(t.Context())
		if err != nil || report.Class() != care.OK || report.Tables != 3 || int(report.Records) != len(logs[i]) {
			rt.Fatalf("verify: %v\n%s", err, report)
		}
	}
	if !slices.EqualFunc(logs[0], logs[1], bytes.Equal) {
		rt.Fatalf("the logs differ: %d and %d records", len(logs[0]), len(logs[1]))
	}
}
