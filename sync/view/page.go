package view

import (
	"bytes"
	"encoding/base64"
	"iter"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Bounds of one page.
const (
	DefaultLimit = 50
	MaxLimit     = 1000
	// maxExamined bounds the rows that a filter without an index of its own
	// may pass over for one page; the page then ends early, with a Next.
	maxExamined = 5000
)

// Page asks for a part of a list. The zero Page is the first DefaultLimit rows.
type Page struct {
	Limit int
	After string // the Next of the page before
}

func (p Page) limit() int {
	if p.Limit <= 0 {
		return DefaultLimit
	}
	return min(p.Limit, MaxLimit)
}

// List is a part of a list. A Next that is not empty leads to the rest, even
// where Rows is empty.
type List[T any] struct {
	Rows []T
	Next string
}

// place is where a row stands in a list: its index key without the prefix, and
// its primary key. Places of several labs compare with each other.
type place struct{ key, primary []byte }

func (p place) compare(o place) int {
	if c := bytes.Compare(p.key, o.key); c != 0 {
		return c
	}
	return bytes.Compare(p.primary, o.primary)
}

func (p place) cursor() string {
	return base64.RawURLEncoding.EncodeToString(kv.Join(kv.Str(p.key), p.primary))
}

func parseCursor(s string) (*place, error) {
	if s == "" {
		return nil, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err == nil {
		var key string
		var primary []byte
		if key, primary, err = kv.CutStr(b); err == nil {
			return &place{[]byte(key), primary}, nil
		}
	}
	e := problem.New(problem.Invalid, "the place in the list cannot be read", "start from the first page")
	e.Err = err
	return nil, e
}

// query reads one index over several labs as one list.
type query[T any] struct {
	table  *index.Table[T]
	index  string
	prefix func(record.LabID) []byte   // of the index keys of a lab
	parts  func(record.LabID) [][]byte // several prefixes of a lab, in place of prefix
	key    func(*T) []byte             // the index key behind the prefix
	from   []byte                      // bounds of it; nil to: no bound
	to     []byte
	back   bool
	keep   func(*T) bool // nil: all
}

func run[T any](r kv.Reader, labs []record.LabID, q query[T], page Page) (rows []*T, next string, err error) {
	after, err := parseCursor(page.After)
	if err != nil {
		return nil, "", err
	}
	m := merge[T]{back: q.back}
	defer m.stop()
	for _, id := range labs {
		for _, prefix := range q.prefixes(id) {
			if err := m.add(q.one(r, prefix, after)); err != nil {
				return nil, "", err
			}
		}
	}
	limit := page.limit()
	for examined := 0; ; examined++ {
		s := m.first()
		if s == nil {
			return rows, "", nil
		}
		if len(rows) == limit || examined == maxExamined {
			return rows, m.passed.cursor(), nil
		}
		m.passed = s.at
		if q.keep == nil || q.keep(s.row) {
			rows = append(rows, s.row)
		}
		if err := s.advance(); err != nil {
			return nil, "", err
		}
	}
}

func (q query[T]) prefixes(id record.LabID) [][]byte {
	if q.parts != nil {
		return q.parts(id)
	}
	return [][]byte{q.prefix(id)}
}

// one gives the rows under one prefix that stand behind after.
func (q query[T]) one(r kv.Reader, prefix []byte, after *place) source[T] {
	from, to := kv.Join(prefix, q.from), kv.PrefixEnd(prefix)
	if q.to != nil {
		to = kv.Join(prefix, q.to)
	}
	seq := func(yield func(*T, error) bool) {
		if after != nil {
			at := kv.Join(prefix, after.key)
			next := kv.Join(at, []byte{0})
			if !q.ties(r, at, next, after, yield) {
				return
			}
			if q.back {
				to = least(to, at)
			} else if bytes.Compare(next, from) > 0 {
				from = next
			}
		}
		for v, err := range q.table.ScanIndex(r, q.index, from, to, q.back) {
			if !yield(v, err) {
				return
			}
		}
	}
	return source[T]{seq: seq, table: q.table, key: q.key}
}

// ties gives the rows with the very index key of the cursor that stand behind it.
func (q query[T]) ties(r kv.Reader, at, next []byte, after *place, yield func(*T, error) bool) bool {
	for primary, err := range q.table.ScanKeys(r, q.index, at, next, q.back) {
		var v *T
		if err == nil {
			if c := bytes.Compare(primary, after.primary); c == 0 || (c > 0) == q.back {
				continue
			}
			v, _, err = q.table.Get(r, primary)
		}
		if !yield(v, err) || err != nil {
			return false
		}
	}
	return true
}

// least gives the smaller of two ends; nil is the end of all.
func least(a, b []byte) []byte {
	if a == nil || bytes.Compare(b, a) < 0 {
		return b
	}
	return a
}

// source is one part of a list, of a lab or a specimen of it, with its next row.
type source[T any] struct {
	seq   iter.Seq2[*T, error]
	table *index.Table[T]
	key   func(*T) []byte

	next func() (*T, error, bool)
	row  *T // nil: at the end
	at   place
}

func (s *source[T]) advance() error {
	v, err, ok := s.next()
	if !ok || err != nil {
		s.row = nil
		return err
	}
	s.row, s.at = v, place{s.key(v), s.table.Key(v)}
	return nil
}

// merge takes the first row among several sources.
type merge[T any] struct {
	back   bool
	from   []*source[T]
	stops  []func()
	passed place
}

func (m *merge[T]) add(s source[T]) error {
	var stop func()
	s.next, stop = iter.Pull2(s.seq)
	m.stops = append(m.stops, stop)
	m.from = append(m.from, &s)
	return s.advance()
}

func (m *merge[T]) first() *source[T] {
	var best *source[T]
	for _, s := range m.from {
		if s.row == nil {
			continue
		}
		if best == nil || (s.at.compare(best.at) > 0) == m.back {
			best = s
		}
	}
	return best
}

func (m *merge[T]) stop() {
	for _, f := range m.stops {
		f()
	}
}

// labsOf lists the labs of a scope that have records here, in ascending order.
func (s *Set) labsOf(r kv.Reader, sc scope.Scope) ([]record.LabID, error) {
	ids, every := sc.List()
	if !every {
		return ids, nil
	}
	for l, err := range s.labs.Scan(r, nil, nil, false) {
		if err != nil {
			return nil, err
		}
		ids = append(ids, l.Lab)
	}
	return ids, nil
}
