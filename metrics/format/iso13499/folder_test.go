package iso13499_test

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/signal"
)

// shot is the folder testdata/shot-7, written by hand after the published
// layout of ISO/TS 13499 (from memory, not confirmed against print).
func shot(t testing.TB) fstest.MapFS {
	t.Helper()
	m := fstest.MapFS{}
	root := os.DirFS("testdata/shot-7")
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(root, name)
		m[name] = &fstest.MapFile{Data: b}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(m["shot-7.mme"].Data, []byte("\r\n")) {
		t.Fatal("the fixture has lost its carriage returns")
	}
	return m
}

// checkShot compares a reading with what was written by hand.
func checkShot(t *testing.T, f *iso13499.File) {
	t.Helper()
	if f.Reference != "shot-7" || f.Header.Value("title") != "Invented shot, front, 5.5 m/s: small" || f.Header.Value("House key") != "kept" ||
		f.Header.Value("Laboratory contact name") != "" || f.Header.Value("no such key") != "" {
		t.Errorf("header: %q %+v", f.Reference, f.Header)
	}
	if len(f.Notes) > 0 || len(f.Channels) != 4 {
		t.Fatalf("%d channels, notes %q", len(f.Channels), f.Notes)
	}
	for i, want := range []struct {
		code, unit, text string
		step, start      float64
		digits           int
		values           []float64
	}{
		{"D0HEAD0000H3ACXP", "m/(s*s)", "head acceleration x", 5e-5, -1e-4, 1, []float64{0, 9.80665, 980.665, -19.6133, 4.903325, 0}},
		{"D0HEAD0000H3AVYC", "deg/s", "head angular rate y", 5e-5, -1e-4, 1, []float64{0, 180, -90, 360, 18, 0}},
		{"D0RAMM000000PR0P", "bar", "tank pressure", 0.001, -1e-4, 1, []float64{1.379, 1.38}},
		{"D0GATE000000VO0P", "V", "light gate", 5e-5, -1e-4, 1, []float64{5, 5, 0.1, 0.1, 5, 5}},
	} {
		c := f.Channels[i]
		if c.Fault != nil || len(c.Notes) > 0 {
			t.Errorf("channel %d: %v %q", c.Number, c.Fault, c.Notes)
		}
		if string(c.Code) != want.code || c.Unit() != want.unit || c.Text != want.text || c.Number != i+1 || c.IntervalS != want.step || c.StartS != want.start || c.IntervalDigits != want.digits {
			t.Errorf("channel %d: %+v", i+1, c)
		}
		if d := cmp.Diff(want.values, c.Values); d != "" {
			t.Errorf("channel %d (-written +read):\n%s", i+1, d)
		}
	}
	unknown := f.Channels[1].Header[1]
	if unknown != (iso13499.Field{Key: "Unknown key of ours", Value: "a: b", Line: 2}) {
		t.Errorf("the unknown key became %+v", unknown)
	}
}

func TestReadFolder(t *testing.T) {
	m := shot(t)
	m["Movie/film.001"] = &fstest.MapFile{Data: []byte("no channel")}
	f, err := iso13499.ReadFolder(t.Context(), m, iso13499.Options{})
	if err != nil {
		t.Fatal(err)
	}
	checkShot(t, f)
	if !slices.Equal(f.Other, []string{"Movie", "shot-7.txt"}) {
		t.Errorf("other files: %q", f.Other)
	}
}

// A folder packed by Pack reads the same, and packs to the same bytes whatever
// the times and rights of its files.
func TestPack(t *testing.T) {
	m := shot(t)
	m["Photo/a.jpg"] = &fstest.MapFile{Data: make([]byte, 9999)}
	pack := func() []byte {
		p, err := iso13499.Pack(m)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(iotest.OneByteReader(p))
		if err != nil || int64(len(b)) != p.Size || !slices.Equal(p.LeftOut, []string{"Photo"}) {
			t.Fatalf("%d bytes, said %d, left out %q, %v", len(b), p.Size, p.LeftOut, err)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		return b
	}
	packed := pack()
	m["shot-7.txt"].Mode = 0o600
	if !bytes.Equal(packed, pack()) {
		t.Error("the same files packed to other bytes")
	}
	f, err := iso13499.Read(t.Context(), bytes.NewReader(packed), iso13499.Options{})
	if err != nil {
		t.Fatal(err)
	}
	checkShot(t, f)
	// The stream is a tar to the standard library too, with nothing lost.
	seen := 0
	for r := tar.NewReader(bytes.NewReader(packed)); ; seen++ {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(b, m[h.Name].Data) {
			t.Errorf("%s: %d bytes, %v", h.Name, len(b), err)
		}
	}
	if seen != 7 {
		t.Errorf("%d files in the tar, want 7", seen)
	}
}

func TestPackFails(t *testing.T) {
	if _, err := iso13499.Pack(fstest.MapFS{"a.csv": {Data: []byte("t,ax\n")}}); code(err) != fault.NoData {
		t.Errorf("a folder without .mme: %v", err)
	}
	m := shot(t)
	p, err := iso13499.Pack(m)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	m["Channel/shot-7.002"] = &fstest.MapFile{Data: []byte("short")}
	if _, err := io.Copy(io.Discard, p); code(err) != fault.Unreadable || !strings.Contains(err.Error(), "shot-7.002") {
		t.Errorf("a file that became shorter: %v", err)
	}
}

func code(err error) fault.Code {
	if f, ok := fault.As(err); ok {
		return f.Code
	}
	return ""
}

// archives packs files as tar and as zip, the latter with a folder's prefix and
// one with the separators of Windows.
func archives(t testing.TB, m fstest.MapFS, deflate bool) map[string][]byte {
	t.Helper()
	var a, b bytes.Buffer
	tw, zw := tar.NewWriter(&a), zip.NewWriter(&b)
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	for i, n := range names {
		data := m[n].Data
		if err := tw.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: "./rig/" + n, Size: int64(len(data)), Mode: 0o600}); err != nil {
			t.Fatal(err)
		}
		method := zip.Store
		if deflate {
			method = zip.Deflate
		}
		zn := path.Join("rig", n)
		if i == 0 {
			zn = strings.ReplaceAll(zn, "/", `\`)
		}
		w, err := zw.CreateHeader(&zip.FileHeader{Name: zn, Method: method})
		if err != nil {
			t.Fatal(err)
		}
		for _, to := range []io.Writer{tw, w} {
			if _, err := to.Write(data); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []io.Closer{tw, zw} {
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return map[string][]byte{"tar": a.Bytes(), "zip": b.Bytes()}
}

func TestReadArchives(t *testing.T) {
	for _, deflate := range []bool{false, true} {
		for kind, b := range archives(t, shot(t), deflate) {
			f, err := iso13499.Read(t.Context(), iotest.HalfReader(bytes.NewReader(b)), iso13499.Options{})
			if err != nil {
				t.Fatalf("%s: %v", kind, err)
			}
			checkShot(t, f)
			if !iso13499.IsArchive(b[:512]) {
				t.Errorf("%s is not taken for an archive", kind)
			}
		}
	}
}

func TestKeep(t *testing.T) {
	var asked []string
	f, err := iso13499.ReadFolder(t.Context(), shot(t), iso13499.Options{MaxValues: 6, Keep: func(n int, names []string) bool {
		asked = append(asked, names[0])
		return n == 2
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(asked) != 4 || len(f.Channels[1].Values) != 6 || f.Channels[0].Values != nil || f.Channels[0].Kept || f.Channels[0].Unit() != "m/(s*s)" {
		t.Errorf("asked %q, kept %d and %d values", asked, len(f.Channels[1].Values), len(f.Channels[0].Values))
	}
}

// The meaning of the characters is that of the published list of ISO/TS 13499,
// from memory, not confirmed against print.
func TestCode(t *testing.T) {
	for _, tc := range []struct {
		code     iso13499.Code
		bad      string
		quantity signal.Quantity
		axis     string
		cfc      int
		known    bool
	}{
		{"D0HEAD0000H3ACXP", "", signal.LinearAcceleration, "x", 0, true},
		{"D0HEAD0000H3ACYA", "", signal.LinearAcceleration, "y", 1000, true},
		{"D0HEAD0000H3ACZB", "", signal.LinearAcceleration, "z", 600, true},
		{"D0HEAD0000H3AVYC", "", signal.AngularVelocity, "y", 180, true},
		{"D0HEAD0000H3AVZD", "", signal.AngularVelocity, "z", 60, true},
		{"D0HEAD0000H3ACXS", "", signal.LinearAcceleration, "x", 0, false},
		{"D0HEAD0000H3ACX?", "", signal.LinearAcceleration, "x", 0, false},
		{"D0HEAD0000H3AC0P", "", "", "", 0, true},
		{"D0HEAD0000H3ACRA", "", "", "", 1000, true},
		{"D0HEAD0000H3AAZC", "", "", "z", 180, true},
		{"D0NECKUP00H3FOZA", "", signal.Force, "z", 1000, true},
		{"D0NECKUP00H3MOYB", "", "", "y", 600, true},
		{"D0RAMM000000PR00", "", signal.Pressure, "", 0, true},
		{"D0GATE000000VO0P", "", signal.LightGate, "", 0, true},
		{"D0RAMM000000VO0P", "", "", "", 0, true},
		{"D0HEAD0000H3ACX", "15 characters", "", "", 0, false},
		{"D0HEAD0000h3ACXP", "at place 11", "", "x", 0, true},
		{"", "0 characters", "", "", 0, false},
	} {
		bad := tc.code.Check()
		q, why := tc.code.Quantity()
		class, known := tc.code.CFC()
		if (bad == "") != (tc.bad == "") || !strings.Contains(bad, tc.bad) || q != tc.quantity || (q == "") != (why != "") || tc.code.Axis() != tc.axis || class != tc.cfc || known != tc.known {
			t.Errorf("%s: bad %q, %q %q %q, class %d %t", tc.code, bad, q, why, tc.code.Axis(), class, known)
		}
	}
}
