package iso13499

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
)

// role is what a file of the folder is for.
type role byte

const (
	other role = iota
	header
	list
	channel
)

// roleOf says by its name what a file is; number is that of a channel file.
func roleOf(name string) (r role, number int) {
	base := path.Base(name)
	if strings.HasPrefix(base, ".") || strings.HasPrefix(name, "__MACOSX/") {
		return other, 0 // what some systems put beside a file
	}
	for _, dir := range strings.Split(path.Dir(name), "/") {
		switch strings.ToLower(dir) {
		case "movie", "photo", "document", "report", "static", "diagram":
			return other, 0
		}
	}
	ext := path.Ext(base)
	switch {
	case strings.EqualFold(ext, ".mme"):
		return header, 0
	case strings.EqualFold(ext, ".chn"):
		return list, 0
	case len(ext) < 2 || len(ext) > 5 || len(ext) == len(base):
		return other, 0
	}
	for _, c := range ext[1:] {
		if c < '0' || c > '9' {
			return other, 0
		}
	}
	number, err := strconv.Atoi(ext[1:])
	if err != nil {
		return other, 0
	}
	return channel, number
}

// collector puts the files together in whatever order they come.
type collector struct {
	ctx      context.Context
	options  Options
	file     File
	mme, chn string // names of header and list once seen
	kept     int    // values
	entries  int
	bytes    int64
}

func newCollector(ctx context.Context, o Options) *collector {
	return &collector{ctx: ctx, options: o}
}

// take reads one file of the folder.
func (c *collector) take(name string, src io.Reader) error {
	limited := &limitReader{src: src, left: c.options.maxBytes() - c.bytes, name: name}
	defer func() { c.bytes += limited.n }()
	r, number := roleOf(name)
	switch r {
	case header:
		if c.mme != "" {
			return &fault.Error{Code: fault.Unreadable, What: fmt.Sprintf("there are two tests, %s and %s", c.mme, name), Fix: "keep one test a folder, with one .mme"}
		}
		h, err := readHeader(c.ctx, name, limited)
		if err != nil {
			return err
		}
		c.mme, c.file.Header = name, h
		c.file.Reference = strings.TrimSuffix(path.Base(name), path.Ext(name))
	case list:
		if c.chn != "" {
			return &fault.Error{Code: fault.Unreadable, What: fmt.Sprintf("there are two channel lists, %s and %s", c.chn, name), Fix: "keep one test a folder, with one .chn"}
		}
		h, err := readHeader(c.ctx, name, limited)
		if err != nil {
			return err
		}
		c.chn, c.file.List = name, h
	case channel:
		return c.channel(name, number, limited)
	default:
		c.file.Other = append(c.file.Other, name)
	}
	return nil
}

func (c *collector) channel(name string, number int, src io.Reader) error {
	if len(c.file.Channels) >= maxChannels {
		return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("there are more than %d channel files", maxChannels), Fix: "hand over the channels that are needed"}
	}
	ch := Channel{Number: number, File: name, Line: 1}
	err := readChannel(c.ctx, &ch, src, c.options, c.options.maxValues()-c.kept)
	c.kept += len(ch.Values)
	c.file.Channels = append(c.file.Channels, ch)
	return err
}

// count counts one file or folder of the source.
func (c *collector) count() error {
	c.entries++
	if c.entries > maxEntries {
		return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("there are more than %d files and folders", maxEntries), Fix: "hand over the folder of one test"}
	}
	return c.ctx.Err()
}

// finish compares list and files.
func (c *collector) finish() (*File, error) {
	f := &c.file
	if len(f.Channels) == 0 {
		what := "there is no channel file (NAME.001 and on) in it"
		if c.mme == "" {
			what = "there is neither a header (NAME.mme) nor a channel file (NAME.001 and on) in it"
		}
		return nil, &fault.Error{Code: fault.NoData, What: what, Fix: "hand over the whole folder of a test after ISO/TS 13499, with its folder Channel"}
	}
	if c.mme == "" {
		f.note("There is no header NAME.mme.")
	}
	if c.chn == "" {
		f.note("There is no channel list NAME.chn.")
	}
	slices.SortStableFunc(f.Channels, func(a, b Channel) int { return cmp.Compare(a.Number, b.Number) })
	for i := 1; i < len(f.Channels); i++ {
		if a, b := &f.Channels[i-1], &f.Channels[i]; a.Number == b.Number {
			return nil, &fault.Error{Code: fault.Unreadable, What: fmt.Sprintf("two files are channel %d, %s and %s", a.Number, a.File, b.File), Fix: "keep one test a folder"}
		}
	}
	c.compare()
	return f, nil
}

func (f *File) note(format string, args ...any) {
	f.Notes = append(f.Notes, fmt.Sprintf(format, args...))
}

// compare holds the list against the files.
func (c *collector) compare() {
	f := &c.file
	inList := map[int]bool{}
	found := len(f.Channels)
	for _, l := range f.List.listed() {
		if inList[l.number] {
			f.note("%s line %d names channel %d twice.", c.chn, l.line, l.number)
			continue
		}
		inList[l.number] = true
		i, ok := slices.BinarySearchFunc(f.Channels[:found], l.number, func(ch Channel, n int) int { return cmp.Compare(ch.Number, n) })
		if !ok {
			ch := Channel{Number: l.number, Code: l.code, Text: l.text, Line: l.line}
			ch.fail(&fault.Error{Code: fault.MissingColumn, Line: l.line, What: fmt.Sprintf("%s names channel %d, but there is no file with the ending .%03d", c.chn, l.number, l.number),
				Fix: "hand over the whole folder, or export it again"})
			f.Channels = append(f.Channels, ch)
			continue
		}
		ch := &f.Channels[i]
		ch.Text = l.text
		if ch.Code != l.code && l.code != "" {
			ch.Notes = append(ch.Notes, fmt.Sprintf("%s calls channel %d %q, its file %s says %q, which holds.", c.chn, l.number, clip(string(l.code)), ch.File, clip(string(ch.Code))))
		}
	}
	if c.chn != "" {
		for _, ch := range f.Channels[:found] {
			if !inList[ch.Number] {
				f.note("The channel list does not name channel %d, file %s.", ch.Number, ch.File)
			}
		}
	}
	slices.SortStableFunc(f.Channels, func(a, b Channel) int { return cmp.Compare(a.Number, b.Number) })
}

// limitReader fails once more than left bytes are asked for.
type limitReader struct {
	src  io.Reader
	name string
	left int64
	n    int64
}

func (l *limitReader) Read(p []byte) (int, error) {
	if l.n >= l.left {
		return 0, &fault.Error{Code: fault.TooLarge, What: l.name + ": the files hold more text than the limit of samples needs", Fix: "hand over the channels that are needed, or raise the limit"}
	}
	n, err := l.src.Read(p[:min(int64(len(p)), l.left-l.n)])
	l.n += int64(n)
	return n, err
}
