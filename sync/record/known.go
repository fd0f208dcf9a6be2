package record

import (
	"encoding/binary"
	"math"
	"unicode/utf8"

	"thudbook/sync/hlc"
)

// Nearly every record is in exactly the form that Seal writes: the keys of this
// version, in order, in their shortest encoding. Such bytes are read here in one
// pass, several times as fast as by decoding and encoding again; whatever
// differs in anything is left to the general way, which alone refuses.

// The major types of CBOR (RFC 8949, 3.1) that an envelope has.
const (
	majorUint  = 0
	majorNeg   = 1
	majorBytes = 2
	majorText  = 3
	majorArray = 4
	majorMap   = 5
)

// cursor reads deterministic CBOR; after the first thing that it does not
// expect, bad is set and all it gives is zero.
type cursor struct {
	b   []byte
	bad bool
}

// head reads the head of an item, and refuses another major type and any
// encoding of the argument but the shortest.
func (c *cursor) head(major byte) uint64 {
	if c.bad || len(c.b) == 0 || c.b[0]>>5 != major {
		c.bad = true
		return 0
	}
	info := c.b[0] & 31
	if info < 24 {
		c.b = c.b[1:]
		return uint64(info)
	}
	var v, least uint64
	width := 1 << (info - 24)
	if info > 27 || len(c.b) < 1+width {
		c.bad = true
		return 0
	}
	switch arg := c.b[1 : 1+width]; width {
	case 1:
		v, least = uint64(arg[0]), 24
	case 2:
		v, least = uint64(binary.BigEndian.Uint16(arg)), 1<<8
	case 4:
		v, least = uint64(binary.BigEndian.Uint32(arg)), 1<<16
	default:
		v, least = binary.BigEndian.Uint64(arg), 1<<32
	}
	c.b = c.b[1+width:]
	if v < least {
		c.bad = true
		return 0
	}
	return v
}

// key reads the next key, which must be this one.
func (c *cursor) key(k uint64) { c.bad = c.head(majorUint) != k || c.bad }

// uint reads a number of at most most.
func (c *cursor) uint(most uint64) uint64 {
	v := c.head(majorUint)
	if v > most {
		c.bad = true
		return 0
	}
	return v
}

func (c *cursor) int() int64 {
	if len(c.b) > 0 && c.b[0]>>5 == majorNeg {
		v := c.head(majorNeg)
		c.bad = c.bad || v > math.MaxInt64
		return -1 - int64(v&math.MaxInt64)
	}
	return int64(c.uint(math.MaxInt64))
}

// take gives n bytes of what was read from, not a copy.
func (c *cursor) take(n uint64) []byte {
	if c.bad || n > uint64(len(c.b)) {
		c.bad = true
		return nil
	}
	b := c.b[:n:n]
	c.b = c.b[n:]
	return b
}

func (c *cursor) bytes() []byte { return c.take(c.head(majorBytes)) }

// fixed reads a byte string of exactly the width of into.
func (c *cursor) fixed(into []byte) {
	b := c.bytes()
	c.bad = c.bad || len(b) != len(into)
	copy(into, b)
}

func (c *cursor) text() string {
	b := c.take(c.head(majorText))
	c.bad = c.bad || !utf8.Valid(b)
	if c.bad {
		return ""
	}
	return string(b)
}

// parseKnown reads an envelope in the form that Seal writes; false: the bytes
// are something else, or nothing. Body is a part of raw, not a copy.
func parseKnown(raw []byte) (e Envelope, ok bool) {
	c := &cursor{b: raw}
	pairs := c.head(majorMap)
	if pairs != 13 && pairs != 14 {
		return e, false
	}
	c.key(1)
	e.Version = uint(c.uint(math.MaxUint))
	c.key(2)
	c.fixed(e.Node[:])
	c.key(3)
	c.fixed(e.Lab[:])
	c.key(4)
	e.Epoch = uint32(c.uint(math.MaxUint32))
	c.key(5)
	e.Seq = c.uint(math.MaxUint64)
	c.key(6)
	c.fixed(e.Prev[:])
	c.key(7)
	e.Clock = hlc.Time(c.uint(math.MaxUint64))
	c.key(8)
	e.WallNS = c.int()
	c.key(9)
	e.Kind = Kind(c.text())
	c.key(10)
	e.Schema = uint(c.uint(math.MaxUint))
	c.key(11)
	e.Author = c.text()
	c.key(12)
	c.fixed(e.UID[:])
	c.key(13)
	e.Body = c.bytes()
	if pairs == 14 {
		c.key(14)
		e.Attachments = c.attachments()
	}
	if c.bad || len(c.b) != 0 {
		return Envelope{}, false
	}
	return e, true
}

func (c *cursor) attachments() []Attachment {
	n := c.head(majorArray)
	if n == 0 || n > MaxAttachments { // none: the key would be left out
		c.bad = true
		return nil
	}
	all := make([]Attachment, n)
	for i := range all {
		a := &all[i]
		pairs := c.head(majorMap)
		c.key(1)
		c.fixed(a.SHA256[:])
		c.key(2)
		a.Size = c.int()
		c.key(3)
		a.Role = c.text()
		c.key(4)
		a.Media = c.text()
		switch pairs {
		case 4:
		case 5:
			c.key(5)
			a.Name = c.text()
			c.bad = c.bad || a.Name == ""
		default:
			c.bad = true
		}
		if c.bad {
			return nil
		}
	}
	return all
}
