package people

import "crypto/rand"

// RandomPIN gives a PIN of six digits that nobody chose.
func RandomPIN() string {
	for {
		pin := make([]byte, 0, 6)
		for len(pin) < cap(pin) {
			var b [1]byte
			rand.Read(b[:])
			if b[0] < 250 { // each digit as often as any other
				pin = append(pin, '0'+b[0]%10)
			}
		}
		if checkPIN(string(pin)) == nil {
			return string(pin)
		}
	}
}
