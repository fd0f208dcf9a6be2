//go:build linux

package crashimage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// attempts bounds how often Endure does one thing again: the trial makes few
// calls fail, so that the disk is soon well.
const attempts = 12

// Endure is Work on a disk that fails now and then: whatever fails is done
// again, after the store was opened again where that is asked for. It prints a
// line for each error, and says in the end how many there were.
func Endure(ctx context.Context, dir string, shots int, out io.Writer) error {
	failed := 0
	again := func(what string, do func() error) error {
		var err error
		for range attempts {
			if err = do(); err == nil {
				return nil
			}
			failed++
			fmt.Fprintf(out, "%s: %v\n", what, err)
		}
		return fmt.Errorf("%s, %d times in a row: %w", what, attempts, err)
	}
	var p *parts
	if err := again("open", func() (err error) { p, err = openParts(ctx, dir); return err }); err != nil {
		return err
	}
	for i := range shots {
		var line string
		err := again(fmt.Sprintf("shot %d", i), func() (err error) {
			if p.ledger.Faulted() != nil {
				if err := p.mustRefuse(ctx); err != nil {
					return err
				}
				if err := p.ledger.Recover(ctx); err != nil {
					return err
				}
			}
			line, err = p.shot(ctx, i)
			return err
		})
		if err != nil {
			return err
		}
		if err := again("acknowledge", func() error { return appendLine(filepath.Join(dir, ackName), line) }); err != nil {
			return err
		}
	}
	fmt.Fprintf(out, "endured %d errors\n", failed)
	return p.close()
}

// mustRefuse: after an unknown outcome nothing is written until Recover.
func (p *parts) mustRefuse(ctx context.Context) error {
	if line, err := p.shot(ctx, int(time.Now().UnixNano()%1000)+1_000_000); err == nil {
		return errors.New("a stopped ledger took a record: " + line)
	}
	return nil
}

// appendLine adds a line; what a failed write left is cut off again.
func appendLine(path, line string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	end, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return errors.Join(err, f.Close())
	}
	if _, err := io.WriteString(f, line); err != nil {
		return errors.Join(err, f.Truncate(end), f.Close())
	}
	return f.Close()
}

// Check judges a data folder that Work or Endure left, and gives how many
// records were acknowledged in it.
func Check(ctx context.Context, dir string) (acked int, err error) {
	acks, err := readAcks(filepath.Join(dir, ackName))
	if errors.Is(err, os.ErrNotExist) {
		acks, err = nil, nil
	}
	if err != nil {
		return 0, err
	}
	return len(acks), judge(ctx, dir, acks)
}
