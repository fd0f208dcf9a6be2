package programtest

import (
	"bytes"
	"encoding/binary"
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

// Noise makes an acquisition file of about so many bytes that nothing
// compresses: one channel of 16-bit samples at 20 kHz (WAV), of its own for
// each number.
func Noise(n, size int) []byte {
	data := (size - 44) &^ 1
	b := make([]byte, 44+data)
	copy(b, "RIFF")
	binary.LittleEndian.PutUint32(b[4:], uint32(36+data))
	copy(b[8:], "WAVEfmt ")
	binary.LittleEndian.PutUint32(b[16:], 16)
	binary.LittleEndian.PutUint16(b[20:], 1) // PCM
	binary.LittleEndian.PutUint16(b[22:], 1) // channels
	binary.LittleEndian.PutUint32(b[24:], 20_000)
	binary.LittleEndian.PutUint32(b[28:], 40_000)
	binary.LittleEndian.PutUint16(b[32:], 2)
	binary.LittleEndian.PutUint16(b[34:], 16)
	copy(b[36:], "data")
	binary.LittleEndian.PutUint32(b[40:], uint32(data))
	_, _ = rand.NewChaCha8([32]byte{byte(n), byte(n >> 8), byte(n >> 16), 9}).Read(b[44:]) // never fails
	return b
}

// NoiseMap is the channel map of Noise.
const NoiseMap = `name = "noise"
[format]
kind = "wav"
[[channel]]
column = 1
measures = "linear acceleration"
axis = "x"
unit = "count"
sensitivity = 80.0
`
