package intake

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// copyTable: quarantine entry, file name, file time -> Copy. It lies beside the
// log and stays on this computer, as the seen list does.
const copyTable kv.Table = "intake_copies"

// Copy is one more file with the bytes of a quarantined one.
type Copy struct {
	Name     string   `json:"name"`
	FileTime lab.Time `json:"file_time,omitempty"` // zero: sent by HTTP
	At       lab.Time `json:"at"`                  // when it came first
}

// noteCopy keeps name and time of a file whose bytes are in quarantine already.
// The file that came before, tried once more, is no copy.
func (in *Intake) noteCopy(tx kv.Tx, s *Submission, src view.Source) error {
	name, at := s.fileName(), fileTime(s.ModTime)
	if src.FileName == name && (src.FileTime == at || src.FileTime == 0 || at == 0) {
		return nil
	}
	key := kv.Join(src.Quarantine[:], kv.Str(name), kv.I64(int64(at)))
	if b, err := tx.Get(copyTable, key); b != nil || err != nil {
		return err
	}
	b, err := record.EncodeBody(&Copy{Name: name, FileTime: at, At: lab.At(in.opt.Now())})
	if err != nil {
		return err
	}
	return tx.Put(copyTable, key, b)
}

// Copies gives the files that came with the bytes of a quarantine entry, by
// entry, the one that came first in front.
func (in *Intake) Copies(ctx context.Context) (map[uuid.UUID][]Copy, error) {
	out := map[uuid.UUID][]Copy{}
	err := in.opt.Store.View(ctx, func(r kv.Reader) error {
		clear(out)
		for e, err := range r.Scan(copyTable, nil, nil) {
			if err != nil {
				return err
			}
			var c Copy
			if err := record.DecodeBody(e.Value, &c); err != nil {
				in.opt.Log.Error("a copy of a quarantined file cannot be read", "error", err)
				continue
			}
			if id, err := uuid.FromBytes(e.Key[:min(16, len(e.Key))]); err == nil {
				out[id] = append(out[id], c)
			}
		}
		return nil
	})
	for _, all := range out {
		slices.SortFunc(all, func(a, b Copy) int { return cmp.Compare(a.At, b.At) })
	}
	return out, err
}
