package iso13499

import (
	"archive/tar"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// ReadFolder reads a folder with its .mme at the top of fsys. Errors are as for
// Read.
func ReadFolder(ctx context.Context, fsys fs.FS, o Options) (*File, error) {
	names, left, err := walk(fsys)
	if err != nil {
		return nil, err
	}
	c := newCollector(ctx, o)
	c.file.Other = left
	for _, name := range names {
		if err := c.count(); err != nil {
			return nil, err
		}
		if r, _ := roleOf(name); r == other {
			c.file.Other = append(c.file.Other, name)
			continue
		}
		if err := c.open(fsys, name); err != nil {
			return nil, err
		}
	}
	return c.finish()
}

func (c *collector) open(fsys fs.FS, name string) error {
	f, err := fsys.Open(name)
	if err != nil {
		return textline.Broken(c.ctx, name, 0, err)
	}
	return errors.Join(c.take(name, f), f.Close())
}

// walk lists the files that make a test: those beside the .mme and those in its
// folder Channel, header first, then the list, then the channels by name. left
// names the other folders: films, photos, documents.
func walk(fsys fs.FS) (names, left []string, err error) {
	top, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, nil, unlisted(".", err)
	}
	if !slices.ContainsFunc(top, isHeader) {
		return nil, nil, &fault.Error{Code: fault.NoData, What: "the folder has no header NAME.mme, so it is no test after ISO/TS 13499",
			Fix: "name the folder that holds the .mme, or name single files"}
	}
	for _, e := range top {
		switch {
		case e.Type().IsRegular():
			names = append(names, e.Name())
		case e.IsDir() && strings.EqualFold(e.Name(), "Channel"):
			sub, err := fs.ReadDir(fsys, e.Name())
			if err != nil {
				return nil, nil, unlisted(e.Name(), err)
			}
			for _, s := range sub {
				name := path.Join(e.Name(), s.Name())
				if s.Type().IsRegular() {
					names = append(names, name)
				} else {
					left = append(left, name)
				}
			}
		default:
			left = append(left, e.Name())
		}
	}
	if len(names) > maxEntries {
		return nil, nil, &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("the folder holds more than %d files", maxEntries), Fix: "name the folder of one test"}
	}
	rank := map[role]int{header: 0, list: 1, channel: 2, other: 3}
	slices.SortStableFunc(names, func(a, b string) int {
		ra, na := roleOf(a)
		rb, nb := roleOf(b)
		return cmp.Or(cmp.Compare(rank[ra], rank[rb]), cmp.Compare(na, nb), cmp.Compare(a, b))
	})
	return names, left, nil
}

func unlisted(name string, err error) error {
	return &fault.Error{Code: fault.Unreadable, What: fmt.Sprintf("the folder %s cannot be listed: %v", name, err), Fix: "check that it exists and may be read", Err: err}
}

// Packed is a folder as one stream, a plain tar. The same files give the same
// bytes on every machine: no times, owners or permissions are in it.
type Packed struct {
	Size    int64     // of the stream in bytes
	Newest  time.Time // when the newest file in it was written
	LeftOut []string  // folders and files that are not in it
	src     io.Reader
	parts   []*part
}

// keptBeside is the most that a file beside the header may have to be packed with
// it, if it is no part of the test by its name: remarks, not films.
const keptBeside = 1 << 20

// Pack makes one stream of a folder with its .mme at the top of fsys, so that a
// test can be kept as one piece. Folders of films, photos and documents, links,
// and large files that are no part of the test are left out and named. Close it
// after reading.
func Pack(fsys fs.FS) (*Packed, error) {
	names, left, err := walk(fsys)
	if err != nil {
		return nil, err
	}
	p := &Packed{LeftOut: left}
	var readers []io.Reader
	for _, name := range names {
		info, err := fs.Stat(fsys, name)
		if err != nil {
			return nil, unlisted(name, err)
		}
		if r, _ := roleOf(name); r == other && info.Size() > keptBeside {
			p.LeftOut = append(p.LeftOut, name)
			continue
		}
		if t := info.ModTime(); t.After(p.Newest) {
			p.Newest = t
		}
		var head bytes.Buffer
		w := tar.NewWriter(&head)
		if err := w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: info.Size(), Mode: 0o644}); err != nil {
			return nil, unlisted(name, err)
		}
		body := &part{fsys: fsys, name: name, left: info.Size()}
		p.parts = append(p.parts, body)
		pad := make([]byte, -info.Size()&511)
		readers = append(readers, &head, body, bytes.NewReader(pad))
		p.Size += int64(head.Len()) + info.Size() + int64(len(pad))
	}
	readers = append(readers, bytes.NewReader(make([]byte, 1024))) // two empty blocks end a tar
	p.Size += 1024
	p.src = io.MultiReader(readers...)
	return p, nil
}

// Read gives the next bytes of the stream.
func (p *Packed) Read(b []byte) (int, error) { return p.src.Read(b) }

// Close closes what reading left open.
func (p *Packed) Close() error {
	var all error
	for _, f := range p.parts {
		if f.file != nil {
			all = errors.Join(all, f.file.Close())
			f.file = nil
		}
	}
	return all
}

// part is one file of a stream. It is open only while it is read.
type part struct {
	fsys fs.FS
	name string
	left int64
	file fs.File
	err  error
}

func (p *part) Read(b []byte) (int, error) {
	if p.left == 0 || p.err != nil {
		return 0, cmp.Or(p.err, io.EOF)
	}
	if p.file == nil {
		if p.file, p.err = p.fsys.Open(p.name); p.err != nil {
			return 0, p.err
		}
	}
	n, err := p.file.Read(b[:min(int64(len(b)), p.left)])
	p.left -= int64(n)
	if err == io.EOF && p.left > 0 {
		err = &fault.Error{Code: fault.Unreadable, What: p.name + " became shorter while it was read", Fix: "try again when the acquisition program has finished writing"}
	}
	if p.left == 0 {
		err = p.file.Close()
		p.file = nil
	}
	if err == io.EOF {
		err = nil
	}
	p.err = err
	return n, err
}
