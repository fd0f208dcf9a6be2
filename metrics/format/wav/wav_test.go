package wav_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/wav"
)

// Files written by Python's wave module and by scipy.io.wavfile are read as
// scipy reads them, sample by sample (testdata/waves.py).
func TestAgainstPython(t *testing.T) {
	folder := t.TempDir()
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "testdata/waves.py", folder)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("waves.py: %v (scipy is needed: apt-get install python3-scipy)\n%s", err, stderr.Bytes())
	}
	var all map[string]struct {
		Rate     float64
		Bits     int
		Float    bool
		Channels [][]float64
	}
	if err := json.Unmarshal(out, &all); err != nil {
		t.Fatal(err)
	}
	if len(all) != 7 {
		t.Fatalf("%d files, want 7", len(all))
	}
	for name, want := range all {
		b, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		if !wav.IsFile(b) {
			t.Errorf("%s is not taken for a WAV", name)
		}
		f, err := wav.Read(t.Context(), iotest.HalfReader(bytes.NewReader(b)), wav.Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if f.RateHz != want.Rate || f.Bits != want.Bits || f.Float != want.Float || f.Channels != len(want.Channels) || f.Frames != len(want.Channels[0]) || f.Fault != nil || len(f.Notes) > 0 {
			t.Errorf("%s: %v Hz, %d bits, float %t, %d channels of %d frames, %v %q", name, f.RateHz, f.Bits, f.Float, f.Channels, f.Frames, f.Fault, f.Notes)
		}
		if d := cmp.Diff(want.Channels, f.Values); d != "" {
			t.Errorf("%s (-scipy +read):\n%s", name, d)
		}
		full := 0.0
		if !want.Float {
			full = math.Pow(2, float64(want.Bits-1)) - 1
		}
		if f.FullScale() != full {
			t.Errorf("%s: full scale %v, want %v", name, f.FullScale(), full)
		}
	}
	old, err := os.ReadFile("testdata/pcm24.wav")
	if err != nil {
		t.Fatal(err)
	}
	if again, err := os.ReadFile(filepath.Join(folder, "pcm24.wav")); err != nil || !bytes.Equal(old, again) {
		t.Errorf("testdata/pcm24.wav is not what waves.py writes: %v", err)
	}
}

// form is the chunk "fmt ".
type form struct {
	Tag, Channels uint16
	Rate, Bytes   uint32
	Block, Bits   uint16
}

func chunk(kind string, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(kind), uint32(len(body)))
	b = append(b, body...)
	return append(b, make([]byte, len(body)%2)...)
}

func riff(chunks ...[]byte) []byte {
	body := append([]byte("WAVE"), bytes.Join(chunks, nil)...)
	return chunk("RIFF", body)
}

func (f form) chunk() []byte {
	var b bytes.Buffer
	_ = binary.Write(&b, binary.LittleEndian, f)
	return chunk("fmt ", b.Bytes())
}

func mono16() form { return form{1, 1, 20000, 40000, 2, 16} }

func TestRefused(t *testing.T) {
	good := riff(mono16().chunk(), chunk("data", []byte{1, 0, 2, 0}))
	with := func(edit func(*form)) []byte {
		f := mono16()
		edit(&f)
		return riff(f.chunk(), chunk("data", []byte{1, 0, 2, 0, 3, 0, 4, 0}))
	}
	for name, tc := range map[string]struct {
		data []byte
		code fault.Code
		what string
	}{
		"nothing":           {nil, fault.Empty, "empty"},
		"text":              {[]byte("t,ax\n0,1\n0.1,2\n"), fault.Unreadable, "no RIFF WAVE"},
		"big endian":        {append([]byte("RIFX"), good[4:]...), fault.Unreadable, "RIFX"},
		"long form":         {append([]byte("RF64"), good[4:]...), fault.Unreadable, "RF64"},
		"head only":         {good[:10], fault.Truncated, "byte 10"},
		"no data":           {riff(mono16().chunk()), fault.NoData, "byte 36 without a chunk of data"},
		"data first":        {riff(chunk("data", []byte{1, 0}), mono16().chunk()), fault.Unreadable, "data at byte 12"},
		"empty data":        {riff(mono16().chunk(), chunk("data", nil)), fault.NoData, "at byte 36 holds no sample"},
		"less than a frame": {riff(mono16().chunk(), chunk("data", []byte{1})), fault.NoData, "no sample"},
		"form cut short":    {good[:30], fault.Truncated, "byte 30"},
		"short form":        {riff(chunk("fmt ", make([]byte, 8))), fault.Unreadable, "8 bytes"},
		"two forms":         {riff(mono16().chunk(), mono16().chunk()), fault.Unreadable, "second chunk"},
		"8 bits":            {with(func(f *form) { f.Bits, f.Block = 8, 1 }), fault.Unreadable, "8 bits"},
		"12 bits":           {with(func(f *form) { f.Bits = 12 }), fault.Unreadable, "12 bits"},
		"compressed":        {with(func(f *form) { f.Tag = 85 }), fault.Unreadable, "encoding 85"},
		"no channel":        {with(func(f *form) { f.Channels = 0 }), fault.Unreadable, "0 channels"},
		"far too many":      {with(func(f *form) { f.Channels, f.Block = 5000, 10000 }), fault.Unreadable, "5000 channels"},
		"frame":             {with(func(f *form) { f.Block = 3 }), fault.Unreadable, "frame of 3 bytes"},
		"rate":              {with(func(f *form) { f.Rate = 0 }), fault.TimeColumn, "0 samples a second"},
		"half an extension": {with(func(f *form) { f.Tag = 0xfffe }), fault.Unreadable, "extensible form"},
	} {
		f, err := wav.Read(t.Context(), bytes.NewReader(tc.data), wav.Options{})
		p, ok := fault.As(err)
		if !ok || f != nil || p.Code != tc.code || !strings.Contains(p.What, tc.what) || p.Fix == "" {
			t.Errorf("%s: %v, want %s with %q", name, err, tc.code, tc.what)
		}
	}
}

// Data that end early are read as far as they go, with a fault that says where.
func TestCutShort(t *testing.T) {
	stereo := form{1, 2, 20000, 80000, 4, 16}
	data := []byte{1, 0, 255, 255, 2, 0, 254, 255, 3, 0, 253, 255}
	whole := riff(stereo.chunk(), chunk("data", data))
	size := func(n, head uint32) []byte {
		b := bytes.Clone(whole)
		binary.LittleEndian.PutUint32(b[40:], n)
		binary.LittleEndian.PutUint32(b[4:], head)
		return b
	}
	riffSize := binary.LittleEndian.Uint32(whole[4:])
	for name, tc := range map[string]struct {
		data   []byte
		frames int
		what   string // "" for no fault
		note   string
	}{
		"whole":                    {whole, 3, "", ""},
		"within a frame":           {whole[:len(whole)-3], 2, "ends at byte 53, 9 of 12 bytes", ""},
		"between frames":           {whole[:len(whole)-4], 2, "ends at byte 52, 8 of 12 bytes", ""},
		"more declared than there": {size(4_000_000_000, riffSize), 3, "12 of 4000000000 bytes", ""},
		"no whole frame declared":  {size(10, riffSize), 2, "10 bytes of data end within a frame of 4", ""},
		"size not known":           {size(math.MaxUint32, math.MaxUint32), 3, "", "all 3 frames"},
		"size not written":         {size(0, 0), 3, "", "all 3 frames"},
		"not known, cut":           {size(math.MaxUint32, riffSize)[:len(whole)-1], 2, "within a frame", "all 2 frames"},
	} {
		f, err := wav.Read(t.Context(), bytes.NewReader(tc.data), wav.Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		d := cmp.Diff([][]float64{[]float64{1, 2, 3}[:tc.frames], []float64{-1, -2, -3}[:tc.frames]}, f.Values)
		if d != "" || f.Frames != tc.frames {
			t.Errorf("%s: %d frames\n%s", name, f.Frames, d)
		}
		if (f.Fault != nil) != (tc.what != "") || f.Fault != nil && (f.Fault.Code != fault.Truncated || !strings.Contains(f.Fault.What, tc.what) || f.Fault.Fix == "") {
			t.Errorf("%s: fault %v, want %q", name, f.Fault, tc.what)
		}
		if notes := strings.Join(f.Notes, " "); (notes != "") != (tc.note != "") || !strings.Contains(notes, tc.note) {
			t.Errorf("%s: notes %q", name, f.Notes)
		}
	}
}

func TestLimits(t *testing.T) {
	stereo := form{3, 2, 20000, 160000, 8, 32}
	var data []byte
	for i := range 30_000 {
		v := float32(i)
		if i == 10_001 {
			v = float32(math.NaN())
		}
		data = binary.LittleEndian.AppendUint32(data, math.Float32bits(v))
	}
	file := riff(stereo.chunk(), chunk("data", data))
	if _, err := wav.Read(t.Context(), bytes.NewReader(file), wav.Options{MaxValues: 29_999}); code(err) != fault.TooLarge || !strings.Contains(err.Error(), "byte") {
		t.Errorf("more values than allowed: %v", err)
	}
	f, err := wav.Read(t.Context(), bytes.NewReader(file), wav.Options{MaxValues: 15_000, Keep: func(n int) bool { return n == 2 }})
	if err != nil || f.Values[0] != nil || len(f.Values[1]) != 15_000 || f.Values[1][2] != 5 {
		t.Fatalf("one channel kept: %v", err)
	}
	if p := f.Bad[1]; p == nil || p.Code != fault.NotFinite || !strings.Contains(p.What, "sample 5001, in the frame at byte 40044") || !math.IsNaN(f.Values[1][5000]) || f.Bad[0] != nil {
		t.Errorf("sample that is not finite: %v", f.Bad)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := wav.Read(ctx, bytes.NewReader(file), wav.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	gone := errors.New("share is gone")
	if _, err := wav.Read(t.Context(), io.MultiReader(bytes.NewReader(file[:9000]), iotest.ErrReader(gone)), wav.Options{}); code(err) != fault.Unreadable || !errors.Is(err, gone) {
		t.Errorf("broken source: %v", err)
	}
}

func code(err error) fault.Code {
	if f, ok := fault.As(err); ok {
		return f.Code
	}
	return ""
}

func FuzzRead(f *testing.F) {
	f.Add(riff(mono16().chunk(), chunk("data", []byte{1, 0, 2, 0})))
	f.Add(riff(form{3, 2, 20000, 320000, 16, 64}.chunk(), chunk("LIST", []byte("odd")), chunk("data", make([]byte, 64))))
	f.Add(riff(mono16().chunk(), chunk("data", nil)))
	if b, err := os.ReadFile("testdata/pcm24.wav"); err == nil {
		f.Add(b)
	} else {
		f.Fatal(err)
	}
	const most = 500
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := wav.Read(t.Context(), bytes.NewReader(b), wav.Options{MaxValues: most})
		if err != nil {
			if p, ok := fault.As(err); !ok || p.Code == "" || p.What == "" || p.Fix == "" || file != nil {
				t.Fatalf("error %#v", err)
			}
			return
		}
		if file.Frames < 1 || file.Frames*file.Channels > most || file.Frames > len(b) || !(file.RateHz > 0) {
			t.Fatalf("%d frames of %d channels at %v", file.Frames, file.Channels, file.RateHz)
		}
		for i, values := range file.Values {
			if len(values) != file.Frames || cap(values) > 4*most {
				t.Fatalf("channel %d has %d values of %d, room for %d", i+1, len(values), file.Frames, cap(values))
			}
			for _, v := range values {
				if math.IsInf(v, 0) || math.IsNaN(v) && file.Bad[i] == nil {
					t.Fatalf("channel %d holds %v without a fault", i+1, v)
				}
			}
		}
	})
}
