package present

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// QR draws a text as a QR code (ISO/IEC 18004): the path of an SVG drawing of
// size × size modules, with the quiet zone of four modules that the standard asks for.
func QR(text string) (path string, size int, err error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", 0, fmt.Errorf("draw a QR code: %w", err)
	}
	const quiet = 4
	var b strings.Builder
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			run := 0
			for x+run < code.Size && code.Black(x+run, y) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, run, run)
				x += run
			}
		}
	}
	return b.String(), code.Size + 2*quiet, nil
}
