package picture_test

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"runtime"
	"strings"
	"testing"

	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/web/picture"
	"thudbook/web/picture/picturetest"
)

func drawn(t *testing.T, b []byte, edge int) image.Image {
	t.Helper()
	var out bytes.Buffer
	if err := picture.Draw(t.Context(), bytes.NewReader(b), edge, &out); err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(&out)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func alike(a, b color.Color) bool {
	r1, g1, b1, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	for _, d := range []int{int(r1) - int(r2), int(g1) - int(g2), int(b1) - int(b2)} {
		if d < -0x1800 || d > 0x1800 {
			return false
		}
	}
	return true
}

// Each of the eight orientations is shown as the camera saw it. The photos are
// made from the standard's table, not by the code that turns them back.
func TestOrientations(t *testing.T) {
	seen := picturetest.Corners(120, 80)
	for o := 1; o <= 8; o++ {
		b := picturetest.JPEG(t, picturetest.Stored(seen, o), picturetest.Tags{Orientation: o}, 0)
		f, err := picture.Read(bytes.NewReader(b))
		if err != nil || f.Orientation != o {
			t.Fatalf("orientation %d is read as %d, %v", o, f.Orientation, err)
		}
		m := drawn(t, b, 60)
		if m.Bounds().Dx() != 60 || m.Bounds().Dy() != 40 {
			t.Fatalf("orientation %d: %v, want 60 × 40", o, m.Bounds())
		}
		for _, at := range []image.Point{{10, 10}, {50, 10}, {10, 30}, {50, 30}} {
			if want := seen.At(2*at.X, 2*at.Y); !alike(m.At(at.X, at.Y), want) {
				t.Errorf("orientation %d: at %v %v, want %v", o, at, m.At(at.X, at.Y), want)
			}
		}
	}
}

func TestFacts(t *testing.T) {
	small := picturetest.Corners(40, 30)
	var plain bytes.Buffer
	if err := png.Encode(&plain, small); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		b    []byte
		want picture.Facts
	}{
		"all tags": {picturetest.JPEG(t, small, picturetest.Tags{Orientation: 6, Time: "2026:03:02 10:00:00", Zone: "+01:00", Position: true}, 0),
			picture.Facts{Media: picture.JPEG, Width: 40, Height: 30, Orientation: 6, CameraTime: "2026-03-02T10:00:00+01:00", Position: true}},
		"no zone":       {picturetest.JPEG(t, small, picturetest.Tags{Time: "2026:03:02 10:00:00"}, 0), picture.Facts{Media: picture.JPEG, Width: 40, Height: 30, Orientation: 1, CameraTime: "2026-03-02T10:00:00"}},
		"no clock set":  {picturetest.JPEG(t, small, picturetest.Tags{Time: "    :  :     :  :  "}, 0), picture.Facts{Media: picture.JPEG, Width: 40, Height: 30, Orientation: 1}},
		"orientation 9": {picturetest.JPEG(t, small, picturetest.Tags{Orientation: 9}, 0), picture.Facts{Media: picture.JPEG, Width: 40, Height: 30, Orientation: 1}},
		"PNG":           {plain.Bytes(), picture.Facts{Media: picture.PNG, Width: 40, Height: 30, Orientation: 1}},
		"text":          {[]byte("t,ax\n0,1\n"), picture.Facts{Orientation: 1}},
		"nothing":       {nil, picture.Facts{Orientation: 1}},
		"HEIC":          {[]byte("\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic"), picture.Facts{Media: picture.HEIC, Orientation: 1}},
	} {
		f, err := picture.Read(bytes.NewReader(c.b))
		if err != nil || f.Media != c.want.Media || f.Width != c.want.Width || f.Height != c.want.Height || f.Orientation != c.want.Orientation || f.CameraTime != c.want.CameraTime || f.Position != c.want.Position {
			t.Errorf("%s: %+v, %v", name, f, err)
		}
	}
}

// What the camera wrote, its position first of all, is not in the copy.
func TestCopyHasNoTags(t *testing.T) {
	b := picturetest.JPEG(t, picturetest.Corners(40, 30), picturetest.Tags{Orientation: 1, Time: "2026:03:02 10:00:00", Position: true}, 0)
	var out bytes.Buffer
	if err := picture.Draw(t.Context(), bytes.NewReader(b), 320, &out); err != nil {
		t.Fatal(err)
	}
	if f, _ := picture.Read(bytes.NewReader(out.Bytes())); f.Position || f.CameraTime != "" || bytes.Contains(out.Bytes(), []byte("Exif")) {
		t.Errorf("the copy says %+v", f)
	}
	if m := drawn(t, b, 320); m.Bounds().Dx() != 40 {
		t.Errorf("a small photo is blown up to %v", m.Bounds())
	}
}

// A bomb is refused by its header, before memory is taken.
func TestTooManyPixels(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := picture.Draw(t.Context(), bytes.NewReader(picturetest.Bomb(60000, 60000)), 320, io.Discard)
	runtime.ReadMemStats(&after)
	if problem.Of(err) != problem.TooLarge || !strings.Contains(err.Error(), "60000 × 60000 pixels, too many pixels to draw here") {
		t.Errorf("a bomb: %v", err)
	}
	if took := after.TotalAlloc - before.TotalAlloc; took > 4<<20 {
		t.Errorf("it took %d bytes", took)
	}
	// The same file with few pixels gets as far as its missing data.
	if err := picture.Draw(t.Context(), bytes.NewReader(picturetest.Bomb(6, 6)), 320, io.Discard); !strings.Contains(err.Error(), "ends early or is damaged") {
		t.Errorf("without data: %v", err)
	}
}

func TestCache(t *testing.T) {
	whole := picturetest.JPEG(t, picturetest.Corners(400, 300), picturetest.Tags{}, 0)
	c := picture.NewCache(t.TempDir() + "/deep/cache")
	opened := 0
	open := func(b []byte) func() (io.ReadSeekCloser, error) {
		return func() (io.ReadSeekCloser, error) { opened++; return file{bytes.NewReader(b)}, nil }
	}
	sum := record.Hash{1}
	first, err := c.Get(t.Context(), sum, picture.Small, open(whole))
	if err != nil {
		t.Fatal(err)
	}
	if again, err := c.Get(t.Context(), sum, picture.Small, open(nil)); err != nil || !bytes.Equal(first, again) || opened != 1 {
		t.Errorf("drawn %d times, %v", opened, err)
	}
	// Cut short: said in words, remembered, and never half shown.
	cut := record.Hash{2}
	if _, err := c.Get(t.Context(), cut, picture.Small, open(whole[:len(whole)*2/3])); err == nil || !strings.Contains(err.Error(), "ends early") || c.Why(cut) == nil {
		t.Errorf("a photo that was cut: %v", err)
	}
	// Who goes away meanwhile does not make it a bad photo.
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := c.Get(gone, record.Hash{3}, picture.Small, open(whole)); err == nil || c.Why(record.Hash{3}) != nil {
		t.Errorf("cancelled: %v, %v", err, c.Why(record.Hash{3}))
	}
}

type file struct{ *bytes.Reader }

func (file) Close() error { return nil }

func FuzzDraw(f *testing.F) {
	f.Add(picturetest.JPEG(f, picturetest.Corners(24, 16), picturetest.Tags{Orientation: 6, Time: "2026:03:02 10:00:00", Zone: "+01:00", Position: true}, 0))
	f.Add(picturetest.Bomb(6, 6))
	f.Add([]byte("RIFF\x00\x00\x00\x00WEBPVP8 "))
	f.Fuzz(func(t *testing.T, b []byte) {
		facts, err := picture.Read(bytes.NewReader(b))
		if err != nil || facts.Orientation < 1 || facts.Orientation > 8 {
			t.Fatalf("%+v, %v", facts, err)
		}
		if facts.Width*facts.Height > 1<<22 {
			return // drawn for nothing here
		}
		var out bytes.Buffer
		if picture.Draw(t.Context(), bytes.NewReader(b), 64, &out) == nil {
			if m, err := jpeg.DecodeConfig(&out); err != nil || m.Width > 64 || m.Height > 64 {
				t.Errorf("drawn as %v, %v", m, err)
			}
		}
	})
}
