//go:build linux

package crashimage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/record"
)

// The parts of a data folder.
const (
	storeName = "store.db"
	blobsName = "attachments"
	ackName   = "acks"
)

// parts is an opened data folder.
type parts struct {
	store  *boltkv.Store
	blobs  *dirblob.Store
	ledger *ledger.Ledger
}

func openParts(ctx context.Context, dir string) (*parts, error) {
	id, err := node.LoadOrCreate(dir)
	if err != nil {
		return nil, err
	}
	p := &parts{}
	if p.store, err = boltkv.Open(filepath.Join(dir, storeName), boltkv.Options{Ordered: ledger.OrderedTables()}); err != nil {
		return nil, err
	}
	if p.blobs, err = dirblob.Open(filepath.Join(dir, blobsName)); err != nil {
		return nil, errors.Join(err, p.store.Close())
	}
	p.ledger, err = ledger.Open(ctx, ledger.Options{Dir: dir, Node: id.ID, Key: id.PrivateKey, Store: p.store, Blobs: p.blobs, Software: "trial"})
	if err != nil {
		return nil, errors.Join(err, p.store.Close())
	}
	return p, nil
}

func (p *parts) close() error { return errors.Join(p.ledger.Close(), p.store.Close()) }

func trialLab() record.LabID { return uuid.NewSHA1(uuid.NameSpaceOID, []byte("crash image lab")) }

// Work records shots in a new data folder and writes a line into the file of
// acknowledgements after each: the number, the record's and the source's hash.
func Work(ctx context.Context, dir string, shots int) error {
	p, err := openParts(ctx, dir)
	if err != nil {
		return err
	}
	acks, err := os.Create(filepath.Join(dir, ackName))
	if err != nil {
		return err
	}
	for i := range shots {
		line, err := p.shot(ctx, i)
		if err != nil {
			return fmt.Errorf("shot %d: %w", i, err)
		}
		if _, err := io.WriteString(acks, line); err != nil {
			return err
		}
	}
	return errors.Join(acks.Close(), p.close())
}

func (p *parts) shot(ctx context.Context, i int) (string, error) {
	source := bytes.Repeat(fmt.Appendf(nil, "%d;", i), 100+i%150)
	ref, err := p.blobs.Put(ctx, bytes.NewReader(source), 0)
	if err != nil {
		return "", err
	}
	body, err := record.EncodeBody(map[string]string{"text": strings.Repeat("invented ", 1+i%40)})
	if err != nil {
		return "", err
	}
	d := ledger.Draft{Kind: "trial.shot", Schema: 1, UID: uuid.NewSHA1(uuid.NameSpaceOID, fmt.Append(nil, i)), Body: body,
		Attachments: []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv", Name: "s.csv"}}}
	recs, err := p.ledger.Append(ctx, trialLab(), d)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%d %s %s\n", recs[0].Seq, recs[0].Hash, ref.SHA256), nil
}

// ack is one acknowledgement.
type ack struct {
	seq          uint64
	hash, source record.Hash
}

func parseAck(line string) (a ack, err error) {
	var hash, source string
	if _, err := fmt.Sscan(line, &a.seq, &hash, &source); err != nil {
		return a, fmt.Errorf("acknowledgement %q: %w", line, err)
	}
	a.hash, err = record.ParseHash(hash)
	if err == nil {
		a.source, err = record.ParseHash(source)
	}
	return a, err
}

// recent is how many of the last sources an image holds as files; the others
// are looked at where the image is made.
const recent = 12

// judge opens what a power cut left and says what is wrong with it.
func judge(ctx context.Context, dir string, acks []ack) error {
	p, err := openParts(ctx, dir)
	if err != nil {
		return fmt.Errorf("it does not open: %w", err)
	}
	return errors.Join(p.judge(ctx, acks), p.close())
}

func (p *parts) judge(ctx context.Context, acks []ack) error {
	own := p.ledger.Own(trialLab())
	if own.Epoch != 1 {
		return fmt.Errorf("the chain was closed: %v", p.ledger.Notices())
	}
	have := map[uint64]record.Hash{}
	last := uint64(0)
	for r, err := range p.ledger.All(ctx) {
		if err != nil {
			return err
		}
		if r.Seq != last+1 {
			return fmt.Errorf("record %d after record %d", r.Seq, last)
		}
		last = r.Seq
		have[r.Seq] = r.Hash
	}
	for i, a := range acks {
		if have[a.seq] != a.hash {
			return fmt.Errorf("acknowledged record %d is lost; the log ends with %d", a.seq, last)
		}
		if i < len(acks)-recent {
			continue
		}
		if err := p.blobs.Verify(ctx, a.source); err != nil {
			return fmt.Errorf("source of acknowledged record %d: %w", a.seq, err)
		}
	}
	if _, err := p.shot(ctx, 1_000_000); err != nil {
		return fmt.Errorf("it takes no record: %w", err)
	}
	head, err := p.ledger.Head(ctx, own)
	if err != nil || head.Seq <= last || len(acks) > 0 && head.Seq <= acks[len(acks)-1].seq {
		return fmt.Errorf("the next record got number %d after %d, %v", head.Seq, last, err)
	}
	return nil
}
