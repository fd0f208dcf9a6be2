//go:build linux

// Package crashimage finds out what a power cut leaves behind. It records every
// write, sync and change of a name that a process makes (by strace), builds the
// contents that the disk may have at any instant between, and lets a process of
// its own open them: no acknowledged record may be missing.
package crashimage

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// opKind is what a system call does to a disk.
type opKind int

const (
	opCreate opKind = iota
	opMkdir
	opWrite
	opTruncate
	opSync
	opRename
	opLink
	opUnlink
)

// op is one system call that succeeded.
type op struct {
	kind opKind
	path string
	to   string // of a rename or a link
	off  int64  // of a write; the size of a truncation; -1: where the last write ended
	data []byte
}

// Calls are the system calls that strace has to record.
const Calls = "openat,write,pwrite64,fsync,fdatasync,ftruncate,renameat,renameat2,linkat,unlinkat,mkdirat"

// StraceArgs are the arguments before the command.
func StraceArgs(out string) []string {
	return []string{"-f", "-y", "-xx", "-s", "67108864", "--seccomp-bpf", "-qq", "-e", "signal=none", "-e", "trace=" + Calls, "-o", out}
}

// parseTrace gives the calls below root, in order. What a call writes counts
// from the moment it begins, a sync from the moment it is over.
func parseTrace(r io.Reader, root string) ([]op, error) {
	var ops []op
	begun := map[string][]byte{} // by thread
	in := bufio.NewReaderSize(r, 1<<20)
	for n := 1; ; n++ {
		line, err := in.ReadBytes('\n')
		if errors.Is(err, io.EOF) && len(line) == 0 {
			return ops, nil
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		o, ok, err := parseLine(bytes.TrimRight(line, "\n"), begun)
		if err != nil {
			return nil, fmt.Errorf("trace, line %d: %w", n, err)
		}
		if ok && strings.HasPrefix(o.path, root+"/") || ok && o.path == root {
			ops = append(ops, o)
		}
	}
}

func parseLine(line []byte, begun map[string][]byte) (op, bool, error) {
	pid, rest, _ := bytes.Cut(line, []byte(" "))
	rest = bytes.TrimLeft(rest, " ")
	if bytes.HasPrefix(rest, []byte("<... ")) {
		_, end, ok := bytes.Cut(rest, []byte(" resumed>"))
		first := begun[string(pid)]
		if !ok || first == nil {
			return op{}, false, fmt.Errorf("the end of a call without its start: %.80q", rest)
		}
		delete(begun, string(pid))
		rest = append(first, end...)
	}
	if first, ok := bytes.CutSuffix(rest, []byte("<unfinished ...>")); ok {
		begun[string(pid)] = bytes.Clone(first)
		return op{}, false, nil
	}
	name, args, ok := bytes.Cut(rest, []byte("("))
	at := bytes.LastIndex(args, []byte(") "))
	if !ok || at < 0 {
		return op{}, false, nil // the end of a thread
	}
	_, result, _ := bytes.Cut(args[at:], []byte("= "))
	if bytes.HasPrefix(result, []byte("-")) || bytes.HasPrefix(result, []byte("?")) {
		return op{}, false, nil // it failed
	}
	return parseCall(string(name), args[:at], result)
}

func parseCall(name string, args, result []byte) (o op, ok bool, err error) {
	quoted := func(open, end byte, b []byte) ([]byte, []byte) {
		i := bytes.IndexByte(b, open)
		if i < 0 {
			return nil, nil
		}
		j := bytes.IndexByte(b[i+1:], end)
		if j < 0 {
			return nil, nil
		}
		return unhex(b[i+1 : i+1+j]), b[i+j+2:]
	}
	switch name {
	case "write", "pwrite64", "fsync", "fdatasync", "ftruncate":
		path, rest := quoted('<', '>', args)
		o.path = string(path)
		switch name {
		case "fsync", "fdatasync":
			o.kind = opSync
		case "ftruncate":
			o.kind = opTruncate
			o.off, err = strconv.ParseInt(strings.Trim(string(rest), ", "), 10, 64)
		case "write":
			o.kind, o.off = opWrite, -1
			o.data, _ = quoted('"', '"', rest)
		default:
			o.kind = opWrite
			o.data, rest = quoted('"', '"', rest)
			_, o.off, err = lastTwo(rest)
		}
		return o, o.path != "", err
	case "openat":
		if !bytes.Contains(args, []byte("O_CREAT")) {
			return o, false, nil
		}
		path, _ := quoted('<', '>', result)
		return op{kind: opCreate, path: string(path)}, path != nil, nil
	case "mkdirat", "unlinkat":
		path, _ := quoted('"', '"', args)
		o.kind, o.path = opMkdir, string(path)
		if name == "unlinkat" {
			o.kind = opUnlink
		}
		return o, true, nil
	case "renameat", "renameat2", "linkat":
		from, rest := quoted('"', '"', args)
		to, _ := quoted('"', '"', rest)
		o.kind, o.path, o.to = opRename, string(from), string(to)
		if name == "linkat" {
			o.kind = opLink
		}
		return o, true, nil
	}
	return o, false, nil
}

// lastTwo reads ", count, offset".
func lastTwo(b []byte) (n, off int64, err error) {
	parts := strings.Split(strings.Trim(string(b), ", "), ", ")
	if len(parts) != 2 {
		return 0, 0, fmt.Errorf("count and offset of a write: %q", b)
	}
	n, e1 := strconv.ParseInt(parts[0], 10, 64)
	off, e2 := strconv.ParseInt(parts[1], 10, 64)
	return n, off, errors.Join(e1, e2)
}

// unhex reads \x00\x01… in place.
func unhex(b []byte) []byte {
	out := make([]byte, 0, len(b)/4)
	for i := 0; i+4 <= len(b); i += 4 {
		out = append(out, digit(b[i+2])<<4|digit(b[i+3]))
	}
	return out
}

func digit(c byte) byte {
	if c >= 'a' {
		return c - 'a' + 10
	}
	return c - '0'
}
