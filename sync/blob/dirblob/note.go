package dirblob

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
)

// A note has two slots that are written by turns, so that one that was torn by
// a power cut leaves the one before. A slot: magic, number, offset, size, length
// of the hash's state, the state, CRC-32C of all that.
const (
	slotSize  = 256
	noteMagic = 0x7468_7570 // "thup"
	slotHead  = 4 + 8 + 8 + 8 + 2
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

type note struct {
	path   string
	f      *os.File // nil until the first is written: a transfer of one part needs none
	fresh  bool     // its name is not durable yet
	number uint64
	size   int64
	offset int64
	state  []byte
}

// readNote reads without keeping the file open; no file, or none for this
// size, is a note of nothing.
func readNote(path string, size int64) (note, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return note{}, nil
	}
	if err != nil {
		return note{}, unavailable("a transfer cannot be looked up", path, err)
	}
	n, err := loadNote(f, size)
	if err := errors.Join(err, f.Close()); err != nil {
		return note{}, unavailable("a transfer cannot be looked up", path, err)
	}
	return n, nil
}

// openNote reads a note that is there, to be written on.
func openNote(path string, size int64) (note, error) {
	f, err := os.OpenFile(path, os.O_RDWR, fileMode)
	if errors.Is(err, fs.ErrNotExist) {
		return note{path: path, size: size, fresh: true}, nil
	}
	if err != nil {
		return note{}, err
	}
	n, err := loadNote(f, size)
	if err != nil {
		return note{}, errors.Join(err, f.Close())
	}
	n.path, n.f, n.size, n.fresh = path, f, size, n.number == 0
	return n, nil
}

func loadNote(f *os.File, size int64) (note, error) {
	var b [2 * slotSize]byte
	n, err := f.ReadAt(b[:], 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return note{}, err
	}
	var best note
	for i := 0; i+slotSize <= n; i += slotSize {
		if s, ok := readSlot(b[i : i+slotSize]); ok && s.number > best.number {
			best = s
		}
	}
	if best.size != size {
		return note{number: best.number}, nil // of something else: start anew
	}
	return best, nil
}

func readSlot(b []byte) (note, bool) {
	if binary.BigEndian.Uint32(b) != noteMagic {
		return note{}, false
	}
	n := note{number: binary.BigEndian.Uint64(b[4:]), offset: int64(binary.BigEndian.Uint64(b[12:])), size: int64(binary.BigEndian.Uint64(b[20:]))}
	end := slotHead + int(binary.BigEndian.Uint16(b[28:]))
	if end+4 > len(b) || crc32.Checksum(b[:end], castagnoli) != binary.BigEndian.Uint32(b[end:]) || n.offset < 0 || n.offset > n.size {
		return note{}, false
	}
	n.state = append([]byte(nil), b[slotHead:end]...)
	return n, true
}

// write notes an offset durably.
func (n *note) write(offset int64, state []byte) error {
	n.number++
	b := make([]byte, 0, slotSize)
	b = binary.BigEndian.AppendUint32(b, noteMagic)
	b = binary.BigEndian.AppendUint64(b, n.number)
	b = binary.BigEndian.AppendUint64(b, uint64(offset))
	b = binary.BigEndian.AppendUint64(b, uint64(n.size))
	b = binary.BigEndian.AppendUint16(b, uint16(len(state)))
	b = append(b, state...)
	b = binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
	b = b[:slotSize]
	if n.f == nil {
		f, err := os.OpenFile(n.path, os.O_RDWR|os.O_CREATE, fileMode)
		if err != nil {
			return err
		}
		n.f = f
	}
	if _, err := n.f.WriteAt(b, int64(n.number%2)*slotSize); err != nil {
		return err
	}
	n.offset, n.state = offset, state
	return syncFile(n.f)
}

func (n *note) close() error {
	if n.f == nil {
		return nil
	}
	f := n.f
	n.f = nil
	return f.Close()
}

func dropNote(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return unavailable("a transfer that is over cannot be cleared away", path, err)
	}
	return nil
}
