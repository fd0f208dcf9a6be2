package agent_test

import (
	"image/jpeg"
	"strings"
	"testing"

	"thudbook/web/picture/picturetest"
)

// upright says that a copy shows what the camera saw, w wide and h high, by the
// colours of its four corners.
func upright(t *testing.T, copied string, w, h int) {
	t.Helper()
	m, err := jpeg.Decode(strings.NewReader(copied))
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	if b.Dx()*h != b.Dy()*w {
		t.Errorf("the copy is %d × %d, not as %d × %d", b.Dx(), b.Dy(), w, h)
	}
	seen := picturetest.Corners(b.Dx(), b.Dy())
	for _, fx := range []int{1, 5} {
		for _, fy := range []int{1, 5} {
			x, y := b.Dx()*fx/6, b.Dy()*fy/6
			r1, g1, b1, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			r2, g2, b2, _ := seen.At(x, y).RGBA()
			for i, d := range []int{int(r1) - int(r2), int(g1) - int(g2), int(b1) - int(b2)} {
				if d < -0x2000 || d > 0x2000 {
					t.Errorf("at %d, %d colour %d is off by %d of 65535", x, y, i, d)
				}
			}
		}
	}
}
