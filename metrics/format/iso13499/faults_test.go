package iso13499_test

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"testing/fstest"
	"testing/iotest"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
)

// edit changes the text of one file of the folder.
func edit(name, from, to string) func(t *testing.T, m fstest.MapFS) {
	return func(t *testing.T, m fstest.MapFS) {
		t.Helper()
		f := m[name]
		if f == nil || !bytes.Contains(f.Data, []byte(from)) {
			t.Fatalf("%q is not in %s", from, name)
		}
		f.Data = []byte(strings.Replace(string(f.Data), from, to, 1))
	}
}

// What is wrong with one channel stands there and leaves the others alone.
func TestChannelFaults(t *testing.T) {
	const one, two = "Channel/shot-7.001", "Channel/shot-7.002"
	tests := []struct {
		name   string
		edit   func(*testing.T, fstest.MapFS)
		number int
		code   fault.Code
		line   int
		what   string
		values int
	}{
		{"text among the values", edit(one, "9.80665E+2\r\n-1", "OVER\r\n-1"), 1, fault.BadNumber, 20, `"OVER" is no number`, 6},
		{"decimal comma", edit(one, "-1.961330E+01", "-19,6"), 1, fault.BadNumber, 21, "no number", 6},
		{"missing value", edit(one, "-1.961330E+01", "NOVALUE"), 1, fault.NotFinite, 21, "NOVALUE", 6},
		{"not finite", edit(two, "\n-90", "\nnan"), 2, fault.NotFinite, 11, "nan", 6},
		{"hexadecimal", edit(two, "\n-90", "\n0x1p4"), 2, fault.BadNumber, 11, "0x1p4", 6},
		{"two bad values", edit(two, "\n-90\n360", "\nx\ny"), 2, fault.BadNumber, 11, "the first of 2", 6},
		{"cut short", edit(one, "+4.903325\r\n0.0\r\n", ""), 1, fault.Truncated, 21, "ends after 4 of 6", 4},
		{"cut within a number", edit(one, "+4.903325\r\n0.0\r\n", "+4.9"), 1, fault.Truncated, 22, "ends after 4 of 6", 4},
		{"more than declared", edit(one, "0.0\r\n", "0.0\r\n7\r\n8\r\n"), 1, fault.RowWidth, 24, "goes on behind its 6", 6},
		{"no value at all", edit(two, "\n0\n180\n-90\n360\n18\n0\n", "\n"), 2, fault.Truncated, 1, "after 0 of 6", 0},
		{"code too short", edit(two, "AVYC", "AVY"), 2, iso13499.BadCode, 7, "15 characters", 6},
		{"no code", edit(two, "Channel code :D0HEAD0000H3AVYC\n", ""), 2, iso13499.BadCode, 1, "no channel code", 6},
		{"bad code and bad value", func(t *testing.T, m fstest.MapFS) {
			edit(two, "AVYC", "AVY_")(t, m)
			edit(two, "\n-90", "\nx")(t, m)
		}, 2, fault.BadNumber, 11, `"x"`, 6},
		{"interval is missing", edit(two, "SAMPLING INTERVAL:5E-05", "SAMPLING INTERVAL:NOVALUE"), 2, fault.TimeColumn, 4, "Sampling interval", 0},
		{"interval is zero", edit(two, "5E-05", "0"), 2, fault.TimeColumn, 4, "Sampling interval", 0},
		{"first time is text", edit(two, ":-1.0E-4", ":soon"), 2, fault.TimeColumn, 3, "Time of first sample", 0},
		{"times elsewhere", edit(one, "implicit", "explicit"), 1, fault.TimeColumn, 8, "another channel", 0},
		{"an impossible number of samples", edit(one, ":6\r\n", ":1000000000000\r\n"), 1, fault.TooLarge, 15, "declares 1000000000000", 0},
		{"zero bytes", edit(one, "implicit", "impl\x00cit"), 1, fault.Unreadable, 8, "zero bytes", 0},
		{"endless line", edit(one, "implicit", strings.Repeat("x", 1<<17)), 1, fault.TooLarge, 8, "longer than", 0},
		{"endless header", edit(two, "Unit:", strings.Repeat("a:b\n", 3000)+"Unit:"), 2, fault.TooLarge, 2002, "lines of header", 0},
		{"file is missing", func(_ *testing.T, m fstest.MapFS) { delete(m, two) }, 2, fault.MissingColumn, 4, "no file with the ending .002", 0},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			m := shot(t)
			tc.edit(t, m)
			f, err := iso13499.ReadFolder(t.Context(), m, iso13499.Options{})
			if err != nil {
				t.Fatal(err)
			}
			bad := 0
			for i, c := range f.Channels {
				if c.Number != tc.number {
					if c.Fault != nil {
						t.Errorf("channel %d has the fault %v too", c.Number, c.Fault)
					}
					continue
				}
				p := c.Fault
				if p == nil || p.Code != tc.code || p.Line != tc.line || !strings.Contains(p.What, tc.what) || p.Fix == "" || p.Channel == "" {
					t.Errorf("fault %v (%+v), want %s at line %d with %q", p, p, tc.code, tc.line, tc.what)
				} else if !strings.Contains(p.What, "shot-7") {
					t.Errorf("no file in %q", p.What)
				}
				if len(c.Values) != tc.values {
					t.Errorf("%d values, want %d", len(c.Values), tc.values)
				}
				for _, v := range f.Channels[i].Values {
					if math.IsNaN(v) {
						bad++
					}
				}
			}
			if numbers := tc.code == fault.BadNumber || tc.code == fault.NotFinite; numbers != (bad > 0) {
				t.Errorf("%d values are NaN", bad)
			}
		})
	}
}

func TestNotes(t *testing.T) {
	m := shot(t)
	edit("Channel/shot-7.chn", "D0HEAD0000H3AVYC", "D0HEAD0000H3AVZC")(t, m)
	edit("Channel/shot-7.chn", "Name of channel 003", "Name of channel 030")(t, m)
	edit("Channel/shot-7.004", "D0GATE000000VO0P", "d0gate000000vo0p")(t, m)
	edit("Channel/shot-7.001", "Number of samples           :6", "Number of samples           :many")(t, m)
	f, err := iso13499.ReadFolder(t.Context(), m, iso13499.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var notes []string
	for _, c := range f.Channels {
		notes = append(notes, c.Notes...)
	}
	all := strings.Join(append(notes, f.Notes...), "\n")
	for _, want := range []string{`"D0HEAD0000H3AVZC", its file`, "does not name channel 3", "small letters", `"many" is no number of samples`} {
		if !strings.Contains(all, want) {
			t.Errorf("no note with %q in:\n%s", want, all)
		}
	}
	if last := f.Channels[4]; last.Number != 30 || last.Fault == nil {
		t.Errorf("the listed channel 30: %+v", last)
	}
	if f.Channels[0].Fault != nil || len(f.Channels[0].Values) != 6 {
		t.Errorf("channel 1: %v", f.Channels[0].Fault)
	}
}

// tarOf packs single entries.
func tarOf(t *testing.T, entries ...*tar.Header) []byte {
	t.Helper()
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	for _, h := range entries {
		if err := w.WriteHeader(h); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func zipOf(t *testing.T, names ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, n := range names {
		if _, err := w.Create(n); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What is not safe to unpack, damaged, or no test is refused as a whole.
func TestRefused(t *testing.T) {
	good := archives(t, shot(t), true)
	two := shot(t)
	two["other.mme"] = two["shot-7.mme"]
	twice := shot(t)
	twice["Channel/copy.001"] = twice["Channel/shot-7.001"]
	damaged := bytes.Clone(good["zip"])
	damaged[200] ^= 0xff
	encrypted := bytes.Clone(good["zip"])
	for i := range len(encrypted) - 10 {
		switch string(encrypted[i : i+4]) {
		case "PK\x01\x02":
			encrypted[i+8] |= 1
		case "PK\x03\x04":
			encrypted[i+6] |= 1
		}
	}
	badHeader := bytes.Clone(good["tar"])
	copy(badHeader[1024:], bytes.Repeat([]byte("x"), 3000))
	reg := func(name string) *tar.Header { return &tar.Header{Typeflag: tar.TypeReg, Name: name, Mode: 0o600} }
	for name, tc := range map[string]struct {
		data []byte
		code fault.Code
		what string
	}{
		"nothing":              {nil, fault.Empty, "empty"},
		"text":                 {[]byte("t,ax\n0,1\n"), iso13499.BadArchive, "neither a tar nor a zip"},
		"gzip":                 {[]byte("\x1f\x8b\x08\x00xxxx"), iso13499.BadArchive, "gzip"},
		"tar leads out":        {tarOf(t, reg("a/../../x.mme")), iso13499.BadArchive, "leads out"},
		"tar is absolute":      {tarOf(t, reg("/etc/x.mme")), iso13499.BadArchive, "leads out"},
		"zip leads out":        {zipOf(t, "../x.mme"), iso13499.BadArchive, "leads out"},
		"zip leads out inside": {zipOf(t, `a\..\x.mme`), iso13499.BadArchive, "leads out"},
		"link":                 {tarOf(t, &tar.Header{Typeflag: tar.TypeSymlink, Name: "x.001", Linkname: "/etc/passwd"}), iso13499.BadArchive, "link or a device"},
		"tar without channels": {tarOf(t, reg("x.mme"), reg("x.txt")), fault.NoData, "no channel file"},
		"zip without channels": {zipOf(t, "x.csv"), fault.NoData, "neither a header"},
		"empty zip":            {zipOf(t), fault.NoData, "neither a header"},
		"two tests":            {archives(t, two, false)["tar"], fault.Unreadable, "two tests"},
		"one number twice":     {archives(t, twice, false)["zip"], fault.Unreadable, "two files are channel 1"},
		"tar cut short":        {good["tar"][:3000], iso13499.BadArchive, "cut short"},
		"zip cut short":        {good["zip"][:900], iso13499.BadArchive, "cut short"},
		"damaged zip":          {damaged, iso13499.BadArchive, "damaged"},
		"encrypted zip":        {encrypted, iso13499.BadArchive, "encrypted"},
		"damaged tar":          {badHeader, iso13499.BadArchive, "damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := iso13499.Read(t.Context(), bytes.NewReader(tc.data), iso13499.Options{})
			p, ok := fault.As(err)
			if !ok || f != nil || p.Code != tc.code || !strings.Contains(p.What, tc.what) || p.Fix == "" {
				t.Errorf("Read = %v, want %s with %q", err, tc.code, tc.what)
			}
		})
	}
}

// A small archive cannot unpack to more than its limit or its ratio.
func TestBombs(t *testing.T) {
	m := shot(t)
	long := bytes.Repeat([]byte("0.0000000000000000000000000000000000000000000000000000000000\r\n"), 34<<20/62)
	edit("Channel/shot-7.001", "Number of samples           :6", "Number of samples           :2000000")(t, m)
	m["Channel/shot-7.001"].Data = append(m["Channel/shot-7.001"].Data, long...)
	bomb := archives(t, m, true)["zip"]
	for most, what := range map[int]string{20_000_000: "times its size", 200_000: "declares 2000000"} {
		f, err := iso13499.Read(t.Context(), bytes.NewReader(bomb), iso13499.Options{MaxValues: most})
		if err == nil {
			err = f.Channels[0].Fault
		}
		if code(err) != fault.TooLarge || !strings.Contains(err.Error(), what) {
			t.Errorf("limit %d: %v, want too_large with %q", most, err, what)
		}
	}
	m = shot(t)
	edit("Channel/shot-7.001", "Number of samples           :6", "Number of samples           :NOVALUE")(t, m)
	m["Channel/shot-7.001"].Data = append(m["Channel/shot-7.001"].Data, long[:100_000]...)
	_, err := iso13499.Read(t.Context(), bytes.NewReader(archives(t, m, false)["tar"]), iso13499.Options{MaxValues: 1000})
	if p, ok := fault.As(err); !ok || p.Code != fault.TooLarge || p.Line != 1000+17+1 {
		t.Errorf("more values than allowed: %v", err)
	}
	comments := fstest.MapFS{"a.mme": {Data: []byte("Title:x\n")}, "a.001": {Data: []byte(strings.Repeat("\n", 3<<20))}}
	if _, err := iso13499.Read(t.Context(), bytes.NewReader(archives(t, comments, true)["tar"]), iso13499.Options{MaxValues: 1000}); code(err) != fault.TooLarge {
		t.Errorf("3 MiB of blank lines for 1000 values: %v", err)
	}
	if _, err := iso13499.Read(t.Context(), bytes.NewReader(append(zipOf(t, "x.mme"), make([]byte, 2<<20)...)), iso13499.Options{MaxValues: 1000}); code(err) != fault.TooLarge {
		t.Errorf("a zip of 2 MiB for 1000 values: %v", err)
	}
	var many []*tar.Header
	for range 10_001 {
		many = append(many, &tar.Header{Typeflag: tar.TypeDir, Name: "d/"})
	}
	if _, err := iso13499.Read(t.Context(), bytes.NewReader(tarOf(t, many...)), iso13499.Options{}); code(err) != fault.TooLarge {
		t.Errorf("10 001 entries: %v", err)
	}
}

func TestSourceFails(t *testing.T) {
	gone := errors.New("share is gone")
	for kind, b := range archives(t, shot(t), false) {
		_, err := iso13499.Read(t.Context(), iotest.TimeoutReader(bytes.NewReader(b[:600])), iso13499.Options{})
		if err == nil {
			t.Errorf("%s: a timeout gave no error", kind)
		}
		src := &failing{bytes.NewReader(b[:1500]), gone}
		if _, err := iso13499.Read(t.Context(), src, iso13499.Options{}); code(err) != fault.Unreadable || !errors.Is(err, gone) {
			t.Errorf("%s: %v, want unreadable with its cause", kind, err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := iso13499.Read(ctx, bytes.NewReader(b), iso13499.Options{}); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, want the context's error", kind, err)
		}
	}
}

// failing gives the bytes and then an error in place of the end.
type failing struct {
	*bytes.Reader
	err error
}

func (f *failing) Read(p []byte) (int, error) {
	if f.Len() == 0 {
		return 0, f.err
	}
	return f.Reader.Read(p)
}
