package home_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/care"
	"thudbook/sync/home"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
)

const flipMark = "THUDBOOK_FLIP_CHILD"

// TestMain lets the test binary verify flipped stores in a process that may end.
func TestMain(m *testing.M) {
	if dir := os.Getenv(flipMark); dir != "" {
		if err := flipChild(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// flip is one bit of the store.
type flip struct {
	At  int64 `json:"at"`
	Bit int   `json:"bit"`
}

// flipped is what verify says of a flip, and what a look without our code gives.
type flipped struct {
	Flip    flip       `json:"flip"`
	Class   care.Class `json:"class"`
	Text    string     `json:"text"`
	Changed []uint64   `json:"changed"` // records whose stored bytes differ or are gone
}

// flipChild turns the bits that it is told, one at a time, and verifies each time.
func flipChild(dir string) error {
	debug.SetPanicOnFault(true) // for the look with bbolt alone
	var flips []flip
	if err := json.NewDecoder(os.Stdin).Decode(&flips); err != nil {
		return err
	}
	path := home.StorePath(dir)
	want, err := rawLog(path)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	out := json.NewEncoder(os.Stdout)
	for _, fl := range flips {
		turn := func() error {
			var b [1]byte
			if _, err := f.ReadAt(b[:], fl.At); err != nil {
				return err
			}
			b[0] ^= 1 << fl.Bit
			_, err := f.WriteAt(b[:], fl.At)
			return err
		}
		if err := turn(); err != nil {
			return err
		}
		r := flipped{Flip: fl}
		r.Class, r.Text = verdict(dir)
		if !strings.Contains(r.Text, "circles") { // bbolt alone would never end
			r.Changed = changed(path, want)
		}
		if err := turn(); err != nil {
			return err
		}
		if err := out.Encode(r); err != nil {
			return err
		}
	}
	return nil
}

// verdict is what verify says.
func verdict(dir string) (care.Class, string) {
	r, err := home.Verify(context.Background(), home.Place{Dir: dir, NoViews: true})
	if err != nil {
		return classOf(err), err.Error()
	}
	return r.Class(), r.String()
}

func classOf(err error) care.Class {
	if problem.Of(err) == problem.Damaged {
		return care.Damaged
	}
	return care.OK
}

// rawLog reads the log with bbolt alone: key to value.
func rawLog(path string) (all map[string]string, err error) {
	all = make(map[string]string)
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer db.Close()
	return all, db.View(func(tx *bolt.Tx) error {
		return tx.Bucket([]byte(ledger.LogTable)).ForEach(func(k, v []byte) error {
			all[string(k)] = string(v)
			return nil
		})
	})
}

// changed gives the records that bbolt does not give as they were.
func changed(path string, want map[string]string) (seqs []uint64) {
	db, err := boltOpen(path)
	if err == nil {
		defer db.Close()
	}
	for k, v := range want {
		if err != nil || !same(db, k, v) {
			seqs = append(seqs, binary.BigEndian.Uint64([]byte(k[len(k)-8:])))
		}
	}
	slices.Sort(seqs)
	return seqs
}

func boltOpen(path string) (db *bolt.DB, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v", r)
		}
	}()
	return bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
}

func same(db *bolt.DB, k, v string) (ok bool) {
	defer func() {
		if recover() != nil {
			ok = false
		}
	}()
	err := db.View(func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(ledger.LogTable))
		ok = b != nil && bytes.Equal(b.Get([]byte(k)), []byte(v))
		return nil
	})
	return ok && err == nil
}

// named reads which records a report names, alone or as a range.
var named = regexp.MustCompile(`records? (\d+)(?: to (\d+))?`)

func namesRecord(text string, seq uint64) bool {
	for _, m := range named.FindAllStringSubmatch(text, -1) {
		lo, err := strconv.ParseUint(m[1], 10, 64)
		if err != nil {
			continue
		}
		hi := lo
		if m[2] != "" {
			if hi, err = strconv.ParseUint(m[2], 10, 64); err != nil {
				continue
			}
		}
		if lo <= seq && seq <= hi {
			return true
		}
	}
	return false
}

// runFlips has a child try all flips; one that ends the child is given as crashed,
// and the next child goes on after it.
func runFlips(t *testing.T, dir string, flips []flip) (done []flipped, crashed []flip) {
	t.Helper()
	good, err := os.ReadFile(home.StorePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	for len(flips) > 0 {
		in, err := json.Marshal(flips)
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.CommandContext(t.Context(), os.Args[0])
		cmd.Env = append(os.Environ(), flipMark+"="+dir)
		cmd.Stdin = bytes.NewReader(in)
		var out, errOut bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &errOut
		err = cmd.Run()
		n := 0
		for lines := bufio.NewReader(&out); ; n++ {
			line, e := lines.ReadBytes('\n')
			var r flipped
			if e != nil || json.Unmarshal(line, &r) != nil {
				break
			}
			done = append(done, r)
		}
		if n == len(flips) {
			return done, crashed
		}
		if err == nil {
			t.Fatalf("the child gave %d of %d answers", n, len(flips))
		}
		t.Logf("flip %+v ended the child: %.3000s", flips[n], errOut.String())
		crashed = append(crashed, flips[n])
		flips = flips[n+1:]
		if err := os.WriteFile(home.StorePath(dir), good, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return done, crashed
}

// flipStore makes a small store, compact so that every page is in use.
func flipStore(t *testing.T, n int) (dir string, pages int64) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "node")
	h := open(t, dir)
	write(t, h, testLab, "shot", n)
	closed(t, h)
	if _, _, err := home.Compact(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	fi, err := os.Stat(home.StorePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	return dir, fi.Size() / int64(os.Getpagesize())
}

// A1: a bit flipped in any page of the store that changes a record is found, and
// the record is named by its sequence number. Flips of what holds no data are
// allowed to pass. THUDBOOK_FLIPS sets how many bits of each page are tried.
func TestFlippedPages(t *testing.T) {
	perPage := 4
	records := 60
	if s := os.Getenv("THUDBOOK_FLIPS"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			t.Fatalf("THUDBOOK_FLIPS=%q is not a number of bits", s)
		}
		perPage, records = n, 500
	}
	dir, pages := flipStore(t, records)
	size := int64(os.Getpagesize())
	var flips []flip
	for p := range pages {
		for i := range int64(perPage) {
			// The first is within the header of the page, the second within the
			// places of its entries, the others are spread over it.
			at := []int64{8 + p%8, 16 + p%64}
			off := (p*977 + i*1021) % size
			if i < 2 {
				off = at[i]
			}
			flips = append(flips, flip{At: p*size + off, Bit: int((p + i) % 8)})
		}
	}
	done, crashed := runFlips(t, dir, flips)
	touched := 0
	for _, r := range done {
		if len(r.Changed) == 0 {
			continue
		}
		touched++
		if r.Class < care.Damaged {
			t.Errorf("flip %+v changes records %v and passes", r.Flip, r.Changed)
			continue
		}
		if r.Flip.At < 2*size {
			continue // a meta page: the store as a whole goes back, or cannot be opened
		}
		for _, seq := range r.Changed {
			if !namesRecord(r.Text, seq) {
				t.Errorf("flip %+v changes record %d, which the report does not name:\n%s", r.Flip, seq, r.Text)
				break
			}
		}
	}
	t.Logf("%d pages, %d flips, %d of them changed records, %d ended the process", pages, len(flips), touched, len(crashed))
	if touched < int(pages)/3 {
		t.Errorf("only %d of %d flips changed a record: the test proves too little", touched, len(flips))
	}
}

// L10: each of the 512 bits of the newest meta page, flipped, makes bbolt go back
// one commit without a word; the anchor tells.
func TestFlippedMetaIsARollBack(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "node")
	h := open(t, dir)
	write(t, h, testLab, "shot", 6)
	closed(t, h)
	b, err := os.ReadFile(home.StorePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	// A page header of 16 bytes, then magic, version, page size, flags, root
	// (16 bytes), free list, number of pages, transaction, checksum: 64 bytes
	// (go.etcd.io/bbolt v1.5.0, internal/common/meta.go).
	size := os.Getpagesize()
	newest := 0
	if binary.LittleEndian.Uint64(b[size+16+48:]) > binary.LittleEndian.Uint64(b[16+48:]) {
		newest = size
	}
	var flips []flip
	for bit := range 512 {
		flips = append(flips, flip{At: int64(newest + 16 + bit/8), Bit: bit % 8})
	}
	done, crashed := runFlips(t, dir, flips)
	if len(crashed) > 0 || len(done) != 512 {
		t.Errorf("%d answers, %d ended the process", len(done), len(crashed))
	}
	for _, r := range done {
		if r.Class != care.Forked {
			t.Errorf("bit %d of byte %d gives class %d:\n%s", r.Flip.Bit, r.Flip.At, r.Class, r.Text)
		}
	}
}
