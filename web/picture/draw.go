package picture

import (
	"context"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"io"

	"thudbook/sync/problem"
)

// MostBytes is how much memory one photo may take while it is drawn, by a
// generous count: about 60 million pixels of a JPEG as phones write them, 40
// million of a PNG.
const MostBytes = 320 << 20

// Drawable says why a photo is not drawn here, as a problem for people; nil
// when it may be tried.
func (f *Facts) Drawable() error {
	switch {
	case f.Media == HEIC || f.Media == AVIF:
		return problem.New(problem.Invalid, "It is of type "+Name(f.Media)+", which cannot be shown here.",
			"The original is kept; download it to see it. Set the camera to JPEG for the next ones.")
	case f.Media == "":
		return problem.New(problem.Invalid, "It is no photo that is known here.", "The original is kept; download it to see it.")
	case f.Width <= 0 || f.Height <= 0:
		return problem.New(problem.Invalid, "It says nothing of its size, so that it cannot be drawn.", "The original is kept as it came. Take the photo again if you can.")
	case f.bytes > MostBytes:
		return problem.New(problem.TooLarge, fmt.Sprintf("It has %d × %d pixels, too many pixels to draw here.", f.Width, f.Height),
			"The original is kept; download it to see it.")
	}
	return nil
}

// Draw writes a copy whose longer edge has at most edge pixels, upright, as JPEG
// without any tags.
func Draw(ctx context.Context, r io.ReadSeeker, edge int, w io.Writer) error {
	f, err := Read(r)
	if err != nil {
		return err
	}
	if err := f.Drawable(); err != nil {
		return err
	}
	src, _, err := image.Decode(stoppable{ctx, r})
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return &problem.Error{Code: problem.Invalid, What: "Its picture ends early or is damaged, so that it cannot be drawn.",
			Fix: "The original is kept as it came. Take the photo again if you can.", Err: err}
	}
	size := src.Bounds().Size()
	if size.X <= 0 || size.Y <= 0 {
		return problem.New(problem.Invalid, "It has no pixels.", "Take the photo again if you can.")
	}
	return jpeg.Encode(w, upright(shrink(src, edge), f.Orientation), &jpeg.Options{Quality: 85})
}

// shrink makes a copy whose longer edge has at most edge pixels. Each of its
// pixels is the mean of those that it stands for. It needs the memory of the
// copy and of a few rows.
func shrink(src image.Image, edge int) *image.RGBA {
	from := src.Bounds()
	scale := min(1, float64(edge)/float64(max(from.Dx(), from.Dy())))
	w, h := max(1, int(scale*float64(from.Dx()))), max(1, int(scale*float64(from.Dy())))
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	rows := image.NewRGBA(image.Rect(0, 0, from.Dx(), from.Dy()/h+1))
	for y := range h {
		top := y * from.Dy() / h
		n := max(1, (y+1)*from.Dy()/h-top)
		band := image.Rect(0, 0, from.Dx(), n)
		draw.Draw(rows, band, image.White, image.Point{}, draw.Src) // below what is transparent
		draw.Draw(rows, band, src, from.Min.Add(image.Pt(0, top)), draw.Over)
		for x := range w {
			left := x * from.Dx() / w
			mean(out.Pix[out.PixOffset(x, y):][:4], rows, left, max(left+1, (x+1)*from.Dx()/w), n)
		}
	}
	return out
}

// mean averages a block of n rows over columns from left on, before right.
func mean(to []byte, rows *image.RGBA, left, right, n int) {
	var sum [3]int
	for y := range n {
		for p := rows.Pix[rows.PixOffset(left, y):rows.PixOffset(right, y)]; len(p) >= 4; p = p[4:] {
			sum[0] += int(p[0])
			sum[1] += int(p[1])
			sum[2] += int(p[2])
		}
	}
	count := n * (right - left)
	for i := range sum {
		to[i] = byte((sum[i] + count/2) / count)
	}
	to[3] = 255
}

// upright turns and mirrors a picture as its orientation says (EXIF 2.32,
// 4.6.5.1.6: where the stored row 0 and column 0 are to be seen).
func upright(src *image.RGBA, orientation int) *image.RGBA {
	w, h := src.Rect.Dx(), src.Rect.Dy()
	if orientation >= 5 {
		w, h = h, w
	}
	if orientation <= 1 || orientation > 8 {
		return src
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := x, y
			switch orientation {
			case 2:
				sx = w - 1 - x
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sy = h - 1 - y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = y, w-1-x
			case 7:
				sx, sy = h-1-y, w-1-x
			case 8:
				sx, sy = h-1-y, x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], src.Pix[src.PixOffset(sx, sy):][:4])
		}
	}
	return out
}

type stoppable struct {
	ctx context.Context
	r   io.Reader
}

func (s stoppable) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(p)
}
