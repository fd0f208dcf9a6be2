package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/web/page"
)

// draftTable holds what is typed into an inspection and not recorded yet, so
// that a power cut loses nothing. It lies beside the log and is no part of it.
const draftTable kv.Table = "agent.draft"

// draft is one form as far as it was filled in.
type draft struct {
	Shot     uuid.UUID         `json:"shot"`
	Corrects uuid.UUID         `json:"corrects"` // zero: a new inspection
	At       time.Time         `json:"at"`
	By       string            `json:"by,omitempty"`
	Values   map[string]string `json:"values"`
}

// maxDraft bounds the bytes of one draft.
const maxDraft = 64 << 10

func draftKey(shot, corrects uuid.UUID) []byte { return kv.Join(shot[:], corrects[:]) }

func putDraft(tx kv.Tx, d *draft) error {
	b, err := json.Marshal(d)
	if err != nil {
		return fmt.Errorf("draft of an inspection: %w", err)
	}
	if len(b) > maxDraft {
		return problem.New(problem.TooLarge, "The draft is too long to be kept.", "Shorten the notes, or record the inspection now.")
	}
	return tx.Put(draftTable, draftKey(d.Shot, d.Corrects), b)
}

// draftOf gives the draft of a form, nil when there is none. One that cannot be
// read is as none; the next one replaces it.
func (d *Desk) draftOf(ctx context.Context, shot, corrects uuid.UUID) (out *draft, err error) {
	err = d.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		b, err := r.Get(draftTable, draftKey(shot, corrects))
		if err != nil || b == nil {
			return err
		}
		out = &draft{}
		if bad := json.Unmarshal(b, out); bad != nil {
			d.Log.Error("draft of an inspection cannot be read", "shot", shot, "error", bad)
			out = nil
		}
		return nil
	})
	return out, err
}

// drafts lists all drafts, at most n.
func (d *Desk) drafts(ctx context.Context, n int) (out []draft, err error) {
	err = d.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for e, err := range r.Scan(draftTable, nil, nil) {
			if err != nil || len(out) == n {
				return err
			}
			var one draft
			if json.Unmarshal(e.Value, &one) == nil {
				out = append(out, one)
			}
		}
		return nil
	})
	return out, err
}

// draftNotices names the inspections that were begun and not recorded.
func (d *Desk) draftNotices(ctx context.Context) []page.Notice {
	const shown = 5
	all, err := d.drafts(ctx, shown)
	if err != nil {
		d.Log.Error("drafts of inspections", "error", err)
	}
	var out []page.Notice
	for _, one := range all {
		row, err := d.read.Shot(ctx, d.scope(), one.Shot)
		if err != nil {
			continue
		}
		to := page.InspectPath(one.Shot.String())
		if one.Corrects != uuid.Nil {
			to += "?corrects=" + one.Corrects.String()
		}
		out = append(out, page.Notice{Level: page.Warn, Text: "An inspection of " + row.Shot.Specimen + " was begun and is not recorded yet; what was typed until " +
			one.At.In(time.Local).Format("2006-01-02 15:04:05") + " is kept.", Link: "Continue the inspection", Href: to})
	}
	return out
}
