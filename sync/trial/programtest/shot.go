package programtest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
)

// Shot makes an acquisition file of its own for each number: so many samples at
// 20 kHz, a pulse between the 200th and the 300th, and noise in the other axes
// as a real sensor has it, so that it compresses no better than a real one.
func Shot(n, samples int) []byte {
	var b bytes.Buffer
	rnd := rand.New(rand.NewPCG(uint64(n), 7))
	fmt.Fprintln(&b, "t,ax,ay,az")
	for i := range samples {
		a := rnd.NormFloat64() / 10
		if i >= 200 && i < 300 {
			a += float64(50+n%40) * float64((i-200)*(299-i)) / 2450
		}
		fmt.Fprintf(&b, "%.5f,%.4f,%.4f,%.4f\n", float64(i)/20000, a, rnd.NormFloat64()/10, rnd.NormFloat64()/10)
	}
	return b.Bytes()
}
