package exchange

import (
	"context"
	"encoding/binary"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// What a service keeps beside the ledger, in the same store.
const (
	// TableSelf holds the incarnation.
	TableSelf kv.Table = "exchange/self"
	// TableHoldings says which bytes a lab holds: lab, hash -> size. Bytes are
	// stored once, rights to them are kept per lab.
	TableHoldings kv.Table = "exchange/holdings"
	// TableComplete says through which record of a chain all attachments are
	// held: origin -> seq.
	TableComplete kv.Table = "exchange/complete"
)

var (
	incarnationKey = []byte("incarnation")
	writtenKey     = []byte("written under") // the incarnation that the own chains are written under
)

func loadIncarnation(ctx context.Context, s kv.Store) (uuid.UUID, error) {
	fresh, err := uuid.NewRandom()
	if err != nil {
		return uuid.UUID{}, err
	}
	var inc uuid.UUID
	err = s.Update(ctx, func(tx kv.Tx) error {
		v, err := tx.Get(TableSelf, incarnationKey)
		if err != nil {
			return err
		}
		if v != nil {
			inc, err = uuid.FromBytes(v)
			return err
		}
		inc = fresh
		return tx.Put(TableSelf, incarnationKey, fresh[:])
	})
	return inc, err
}

// NewIncarnation marks a store as restored: agents then compare their receipts
// with the server's heads and send again what the backup did not hold. Call it
// before NewService.
func NewIncarnation(ctx context.Context, s kv.Store) (uuid.UUID, error) {
	err := s.Update(ctx, func(tx kv.Tx) error { return tx.Delete(TableSelf, incarnationKey) })
	if err != nil {
		return uuid.UUID{}, err
	}
	return loadIncarnation(ctx, s)
}

// continueOwn closes the own chains of a store that was restored: what was
// written after the backup may have reached others.
func continueOwn(ctx context.Context, s kv.Store, l *ledger.Ledger, inc uuid.UUID) error {
	var under uuid.UUID
	err := s.View(ctx, func(r kv.Reader) error {
		v, err := r.Get(TableSelf, writtenKey)
		copy(under[:], v)
		return err
	})
	if err != nil || under == inc {
		return err
	}
	if under != uuid.Nil {
		if err := l.CloseEveryOwn(ctx, "the server was restored from an older backup"); err != nil {
			return fmt.Errorf("close the server's own chains: %w", err)
		}
	}
	return s.Update(ctx, func(tx kv.Tx) error { return tx.Put(TableSelf, writtenKey, inc[:]) })
}

func originKey(o record.Origin) string {
	b := make([]byte, 0, 36)
	b = append(b, o.Node[:]...)
	b = append(b, o.Lab[:]...)
	return string(binary.BigEndian.AppendUint32(b, o.Epoch))
}

func holdingKey(lab record.LabID, h record.Hash) []byte {
	return append(append(make([]byte, 0, 48), lab[:]...), h[:]...)
}

// holds says of each hash whether a lab holds the bytes, and that they are
// really there.
func (s *Service) holds(ctx context.Context, lab record.LabID, hashes ...record.Hash) ([]bool, error) {
	known := make([]bool, len(hashes))
	err := s.o.Store.View(ctx, func(r kv.Reader) error {
		for i, h := range hashes {
			v, err := r.Get(TableHoldings, holdingKey(lab, h))
			if err != nil {
				return err
			}
			known[i] = v != nil
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i, h := range hashes {
		if !known[i] {
			continue
		}
		if known[i], _, err = s.o.Blobs.Has(ctx, h); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// Holds says whether a lab holds bytes, and that they are really there.
func (s *Service) Holds(ctx context.Context, lab record.LabID, h record.Hash) (bool, error) {
	known, err := s.holds(ctx, lab, h)
	return err == nil && known[0], err
}

// settled is holds for what is to be sent here: erased bytes count as held, so
// that nobody sends them. It gives no right to read them.
func (s *Service) settled(ctx context.Context, lab record.LabID, hashes ...record.Hash) ([]bool, error) {
	known, err := s.holds(ctx, lab, hashes...)
	if err != nil || s.o.Gone == nil {
		return known, err
	}
	for i, h := range hashes {
		if known[i] {
			continue
		}
		if known[i], err = s.o.Gone(ctx, lab, h); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// Hold gives a lab the right to bytes that the server stored for it itself.
func (s *Service) Hold(ctx context.Context, lab record.LabID, h record.Hash, size int64) error {
	return s.hold(ctx, lab, h, size)
}

func (s *Service) hold(ctx context.Context, lab record.LabID, h record.Hash, size int64) error {
	return s.o.Store.Update(ctx, func(tx kv.Tx) error {
		return tx.Put(TableHoldings, holdingKey(lab, h), binary.BigEndian.AppendUint64(nil, uint64(size)))
	})
}

// The records read at once while looking for missing attachments: few at
// first, since the search mostly ends at once, then more.
const (
	firstCompletePage = 8 << 10
	lastCompletePage  = 256 << 10
)

// completeThrough finds how far a chain is complete with its attachments, from
// where it was the last time, and keeps the answer. It stops at the first
// record with a missing attachment, so every record is looked at once.
func (s *Service) completeThrough(ctx context.Context, o record.Origin) (uint64, error) {
	start, err := s.storedComplete(ctx, o)
	if err != nil {
		return 0, err
	}
	through, stop := start, false
	var last record.Hash
	for page := firstCompletePage; !stop; page = min(2*page, lastCompletePage) {
		recs, err := s.o.Ledger.Read(ctx, o, through, page)
		if err != nil {
			return 0, fmt.Errorf("look for attachments of %s after %d: %w", o, through, err)
		}
		if len(recs) == 0 {
			break
		}
		for i := range recs {
			ok, err := s.holdsAll(ctx, &recs[i])
			if err != nil {
				return 0, err
			}
			if !ok {
				stop = true
				break
			}
			through, last = recs[i].Seq, recs[i].Hash
		}
	}
	if through == start {
		return start, nil
	}
	return through, s.storeComplete(ctx, o, record.Head{Seq: through, Hash: last})
}

// completeWith notes that a chain which was complete stays so with records
// that have no attachments; with others the next look finds out.
func (s *Service) completeWith(tx kv.Tx, o record.Origin, a ledger.Added) error {
	n := slices.IndexFunc(a.Records, func(r record.Record) bool { return len(r.Attachments) > 0 })
	if n < 0 {
		n = len(a.Records)
	}
	if n == 0 {
		return nil
	}
	old, err := readComplete(tx, o)
	if err != nil || old != a.Before.Seq {
		return err
	}
	return putComplete(tx, o, a.Records[n-1].Head())
}

// holdsAll looks for the attachments of one record. What the server wrote
// itself had to be in the blob store before it was appended.
func (s *Service) holdsAll(ctx context.Context, r *record.Record) (bool, error) {
	if len(r.Attachments) == 0 {
		return true, nil
	}
	hashes := make([]record.Hash, len(r.Attachments))
	for i, a := range r.Attachments {
		hashes[i] = a.SHA256
	}
	held, err := s.settled(ctx, r.Lab, hashes...)
	if err != nil {
		return false, err
	}
	for i, a := range r.Attachments {
		if held[i] {
			continue
		}
		if record.NodeID(r.Node) != s.node {
			return false, nil
		}
		there, size, err := s.o.Blobs.Has(ctx, a.SHA256)
		if err != nil || !there {
			return false, err
		}
		if err := s.hold(ctx, r.Lab, a.SHA256, size); err != nil {
			return false, err
		}
	}
	return true, nil
}

func (s *Service) storedComplete(ctx context.Context, o record.Origin) (n uint64, err error) {
	err = s.o.Store.View(ctx, func(r kv.Reader) error {
		n, err = readComplete(r, o)
		return err
	})
	return n, err
}

// CompleteThrough tells through which record of a chain all attachments are
// held here; 0 when nothing is known.
func CompleteThrough(r kv.Reader, o record.Origin) (uint64, error) { return readComplete(r, o) }

func readComplete(r kv.Reader, o record.Origin) (uint64, error) {
	v, err := r.Get(TableComplete, []byte(originKey(o)))
	if err != nil || v == nil {
		return 0, err
	}
	if len(v) != 8 && len(v) != completeWidth {
		return 0, problem.New(problem.Damaged, "The note of which attachments are there is damaged.",
			"Run 'thudbook verify' on the server's data folder.")
	}
	n := binary.BigEndian.Uint64(v)
	if len(v) == 8 || n == 0 {
		return n, nil
	}
	for s, err := range ledger.Chain(r, o, n-1) {
		if err != nil {
			return 0, err
		}
		if s.Damage == nil && s.Record.Hash == record.Hash(v[8:]) {
			return n, nil
		}
		break
	}
	return 0, nil
}

// completeWidth is that of a note with the hash of the record that it ends
// with: a chain of the server's own may come to hold another history, and then
// what was complete of the one before says nothing.
const completeWidth = 8 + len(record.Hash{})

func (s *Service) storeComplete(ctx context.Context, o record.Origin, at record.Head) error {
	return s.o.Store.Update(ctx, func(tx kv.Tx) error {
		old, err := readComplete(tx, o)
		if err != nil || old >= at.Seq {
			return err
		}
		return putComplete(tx, o, at)
	})
}

func putComplete(tx kv.Tx, o record.Origin, at record.Head) error {
	return tx.Put(TableComplete, []byte(originKey(o)), append(binary.BigEndian.AppendUint64(nil, at.Seq), at.Hash[:]...))
}

// errNoBlob answers alike for bytes that are not there and bytes of others.
func errNoBlob(h record.Hash) error {
	return &problem.Error{Code: problem.NotFound, What: "The server does not hold these bytes for the lab.",
		Where: h.String(), Fix: "They arrive when the agent that took them is connected next."}
}
