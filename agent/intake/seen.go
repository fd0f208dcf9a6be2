package intake

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// seenTable: folder and file name -> seenEntry.
const seenTable kv.Table = "intake_seen"

// seenEntry says what became of a file as it stood at one size and time.
type seenEntry struct {
	Name    string    `json:"name"`
	Size    int64     `json:"size"`
	ModNS   int64     `json:"mod_ns"`
	Hash    []byte    `json:"sha256,omitempty"`
	ID      uuid.UUID `json:"id"`                // of the shot or the quarantine entry
	Taken   bool      `json:"taken"`             // a shot was made from it
	MapHash []byte    `json:"map,omitempty"`     // of the map that could not read it; a new map is a new try
	Meta    bool      `json:"is_meta,omitempty"` // a meta file that has been applied
}

func seenKey(dir, name string) []byte { return kv.Join(kv.Str(dir), kv.Str(name)) }

func getSeen(r kv.Reader, dir, name string) (*seenEntry, error) {
	b, err := r.Get(seenTable, seenKey(dir, name))
	if err != nil || b == nil {
		return nil, err
	}
	var e seenEntry
	if err := record.DecodeBody(b, &e); err != nil {
		return nil, fmt.Errorf("seen list, file %s: %w", name, err)
	}
	return &e, nil
}

func putSeen(tx kv.Tx, dir string, e *seenEntry) error {
	b, err := record.EncodeBody(e)
	if err != nil {
		return err
	}
	return tx.Put(seenTable, seenKey(dir, e.Name), b)
}

// known is the seen list in memory: sixteen bytes a file, so that a folder of a
// hundred thousand files costs a few megabytes.
type known map[[16]byte]struct{}

func knownKey(name string, size int64, mod time.Time, mapHash []byte) [16]byte {
	h := sha256.Sum256(fmt.Appendf(nil, "%s\x00%d\x00%d\x00%x", name, size, mod.UnixNano(), mapHash))
	return [16]byte(h[:16])
}

func (k known) add(e *seenEntry) {
	k[knownKey(e.Name, e.Size, time.Unix(0, e.ModNS), e.MapHash)] = struct{}{}
}

// has tells whether the file was dealt with: for good, or under this map.
func (k known) has(name string, size int64, mod time.Time, mapHash []byte) bool {
	if _, ok := k[knownKey(name, size, mod, nil)]; ok {
		return true
	}
	_, ok := k[knownKey(name, size, mod, mapHash)]
	return ok
}

// loadKnown reads the seen list of one folder.
func loadKnown(ctx context.Context, s kv.Store, dir string) (known, error) {
	k := known{}
	prefix := kv.Str(dir)
	err := s.View(ctx, func(r kv.Reader) error {
		clear(k)
		for e, err := range r.Scan(seenTable, prefix, kv.PrefixEnd(prefix)) {
			if err != nil {
				return err
			}
			var v seenEntry
			if err := record.DecodeBody(e.Value, &v); err != nil {
				continue // costs one more reading of that file
			}
			k.add(&v)
		}
		return nil
	})
	return k, err
}
