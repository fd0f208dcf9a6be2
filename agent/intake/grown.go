package intake

import (
	"context"
	"crypto/sha256"
	"io"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// The further fields of meta by which a shot and the one that its file grew into
// name each other.
const (
	ExtraContinues   = "continues_shot" // at the later one
	ExtraContinuedIn = "continued_in"   // at the earlier one
)

// grewFrom tells whether the bytes are those of an earlier state of the file with
// more behind them: a writer that paused, or one that appends stroke after stroke.
func (in *Intake) grewFrom(ctx context.Context, s *Submission, before *seenEntry) (bool, error) {
	if s.lost || before.Size <= 0 || s.Ref.Size <= before.Size || len(before.Hash) != sha256.Size {
		return false, nil
	}
	f, _, err := in.opt.Blobs.Open(ctx, s.Ref.SHA256)
	if err != nil {
		return false, err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.CopyN(h, f, before.Size); err != nil {
		return false, err
	}
	return record.Hash(h.Sum(nil)) == record.Hash(before.Hash), nil
}

// continues names the earlier shot in the later one.
func (s *Submission) continues(b *lab.Shot) {
	if s.grew == uuid.Nil || len(b.Extra) >= lab.MaxExtra {
		return
	}
	extra := map[string]string{ExtraContinues: s.grew.String()}
	for k, v := range b.Extra {
		if k != ExtraContinues {
			extra[k] = v
		}
	}
	b.Extra = extra
}

// linkBack names the later shot in the earlier one. The later one names it
// already, so that a failure here loses no link.
func (in *Intake) linkBack(ctx context.Context, s *Submission, out Outcome) {
	if s.grew == uuid.Nil || out.Status != Taken {
		return
	}
	_, err := in.Assign(ctx, Assignment{Shot: s.grew, Meta: lab.Meta{Extra: map[string]string{ExtraContinuedIn: out.ID.String()}}, Author: lab.AuthorMeta, OnlyMissing: true})
	if err != nil {
		in.opt.Log.Warn("the earlier shot does not name the later one", "earlier", s.grew, "later", out.ID, "error", err)
	}
}
