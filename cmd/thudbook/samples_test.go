package main

import (
	"bytes"
	"fmt"
)

// shotBytes gives a small file of its own for each number.
func shotBytes(n int) []byte { return samples(n, 400) }

// samples is a shot of so many samples; the pulse lies within the first 300.
func samples(n, rows int) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "t,ax,ay,az")
	for i := range rows {
		a := 0.0
		if i >= 200 && i < 300 {
			a = float64(50+n%40) * float64((i-200)*(299-i)) / 2450
		}
		fmt.Fprintf(&b, "%.5f,%.4f,%d.%04d,0\n", float64(i)/20000, a, n/10000, n%10000)
	}
	return b.Bytes()
}
