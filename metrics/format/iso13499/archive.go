package iso13499

import (
	"archive/tar"
	"archive/zip"
	"bufio"
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// IsArchive says whether a stream that begins so is a tar or a zip. It wants
// the first 512 bytes, or all when there are fewer.
func IsArchive(head []byte) bool { return isZip(head) || isTar(head) }

func isZip(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}

// isTar checks the sum of a tar's first header (POSIX.1-1988 ustar).
func isTar(head []byte) bool {
	const size, at, width = 512, 148, 8
	if len(head) < size {
		return false
	}
	text := strings.Trim(string(head[at:at+width]), " \x00")
	want, err := strconv.ParseInt(text, 8, 64)
	if err != nil {
		return false
	}
	sum := int64(0)
	for i, b := range head[:size] {
		if i >= at && i < at+width {
			b = ' '
		}
		sum += int64(b)
	}
	return sum == want && head[0] != 0
}

// Read reads a folder out of one stream, a plain tar or a zip. What makes the
// whole of it unusable is a *fault.Error and no file: no channel file, two
// tests, an archive that is damaged, compressed otherwise or not safe to
// unpack, too many values. What concerns one channel stands in its Fault. A
// zip is held in memory, as its directory is at its end; a tar is not.
func Read(ctx context.Context, src io.Reader, o Options) (*File, error) {
	r := bufio.NewReaderSize(src, 64<<10)
	head, err := r.Peek(512)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, textline.Broken(ctx, "the archive", 0, err)
	}
	c := newCollector(ctx, o)
	switch {
	case len(head) == 0:
		return nil, &fault.Error{Code: fault.Empty, What: "the file is empty", Fix: "export it again from the acquisition program"}
	case isZip(head):
		err = c.zip(r)
	case isTar(head):
		err = c.tar(r)
	case bytes.HasPrefix(head, []byte("\x1f\x8b")):
		return nil, badArchive("the file is compressed with gzip", "hand over a plain tar or a zip of the folder")
	default:
		return nil, badArchive("the file is neither a tar nor a zip", "hand over the folder, or a plain tar or a zip of it")
	}
	if err != nil {
		return nil, err
	}
	return c.finish()
}

func badArchive(what, fix string) *fault.Error {
	return &fault.Error{Code: BadArchive, What: what, Fix: fix}
}

// safe cleans a name out of an archive. A name that leads out of it is a fault.
func safe(name string) (string, error) {
	if len(name) > maxName {
		return "", badArchive(fmt.Sprintf("the archive holds a name of %d bytes", len(name)), "pack the folder again")
	}
	slashed := strings.TrimSuffix(strings.TrimPrefix(strings.ReplaceAll(name, `\`, "/"), "./"), "/")
	if slashed == "." || slashed == "" {
		return ".", nil
	}
	if !fs.ValidPath(slashed) && !fs.ValidPath(path.Clean(slashed)) || strings.Contains("/"+slashed+"/", "/../") {
		return "", badArchive(fmt.Sprintf("the archive holds the name %q, which leads out of it", textline.Clip(name, 80)), "pack the folder again from inside")
	}
	return path.Clean(slashed), nil
}

func (c *collector) tar(src io.Reader) error {
	t := tar.NewReader(src)
	for {
		h, err := t.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return c.broken("the tar", err)
		}
		if err := c.count(); err != nil {
			return err
		}
		name, err := safe(h.Name)
		if err != nil {
			return err
		}
		switch h.Typeflag {
		case tar.TypeReg:
		case tar.TypeDir, tar.TypeXGlobalHeader:
			continue
		default:
			return badArchive(fmt.Sprintf("%q in the tar is a link or a device, not a file", textline.Clip(name, 80)), "pack the files themselves")
		}
		if err := c.take(name, t); err != nil {
			return c.broken(name, err)
		}
	}
}

// broken says what went wrong inside an archive.
func (c *collector) broken(what string, err error) error {
	f, isFault := fault.As(err)
	damaged := slices.ContainsFunc([]error{tar.ErrHeader, io.ErrUnexpectedEOF, zip.ErrFormat, zip.ErrChecksum}, func(e error) bool { return errors.Is(err, e) })
	if _, corrupt := errors.AsType[flate.CorruptInputError](err); corrupt {
		damaged = true
	}
	switch {
	case damaged && (!isFault || f.Code == fault.Unreadable):
		return &fault.Error{Code: BadArchive, What: what + " is damaged or cut short", Fix: "copy it again from its source", Err: err}
	case isFault:
		return err
	}
	return textline.Broken(c.ctx, what, 0, err)
}

func (c *collector) zip(src io.Reader) error {
	most := c.options.maxPacked()
	packed, err := io.ReadAll(&ctxReader{c.ctx, io.LimitReader(src, most+1)})
	if err != nil {
		return textline.Broken(c.ctx, "the zip", 0, err)
	}
	if int64(len(packed)) > most {
		return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("the zip is larger than %d MiB", most>>20), Fix: "leave films and photos out, or hand over a plain tar"}
	}
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return badArchive("the zip is damaged or cut short: "+err.Error(), "copy it again from its source")
	}
	for _, f := range z.File {
		if err := c.count(); err != nil {
			return err
		}
		name, err := safe(f.Name)
		if err != nil {
			return err
		}
		if strings.HasSuffix(f.Name, "/") || f.FileInfo().IsDir() {
			continue
		}
		if !f.Mode().IsRegular() {
			return badArchive(fmt.Sprintf("%q in the zip is a link or a device, not a file", textline.Clip(name, 80)), "pack the files themselves")
		}
		if r, _ := roleOf(name); r == other {
			c.file.Other = append(c.file.Other, name)
			continue
		}
		if err := c.unzip(f, name, int64(len(packed))); err != nil {
			return c.broken(name, err)
		}
	}
	return nil
}

func (c *collector) unzip(f *zip.File, name string, packed int64) error {
	const encrypted = 1
	if f.Flags&encrypted != 0 {
		return badArchive(fmt.Sprintf("%q in the zip is encrypted", textline.Clip(name, 80)), "pack the folder again without a password")
	}
	r, err := f.Open()
	if err != nil {
		return badArchive(fmt.Sprintf("%q in the zip cannot be unpacked: %v", textline.Clip(name, 80), err), "pack the folder again as plain zip")
	}
	err = c.take(name, r)
	if closed := r.Close(); err == nil && closed != nil {
		err = closed
	}
	if err == nil && c.bytes > ratioFrom && c.bytes/maxRatio > packed {
		return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("the zip unpacks to more than %d times its size", maxRatio), Fix: "hand over a plain tar of the folder"}
	}
	return err
}

// ctxReader ends with its context.
type ctxReader struct {
	ctx context.Context
	src io.Reader
}

func (r *ctxReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.src.Read(p)
}
