package httpkit

import "testing"

// The forms are those of RFC 6266 (quoted file name) and RFC 8187 (filename*,
// percent-encoded UTF-8).
func TestDisposition(t *testing.T) {
	for _, tc := range []struct{ name, want string }{
		{"shot 1.csv", `attachment; filename="shot 1.csv"`},
		{"a\"b\\c.csv", `attachment; filename="a_b_c.csv"; filename*=UTF-8''a%22b%5Cc.csv`},
		{"a\r\nSet-Cookie: x.csv", `attachment; filename="a__Set-Cookie: x.csv"; filename*=UTF-8''a%0D%0ASet-Cookie%3A%20x.csv`},
		{"Stoß +1.csv", `attachment; filename="Sto_ +1.csv"; filename*=UTF-8''Sto%C3%9F%20%2B1.csv`},
	} {
		if got := Disposition(tc.name); got != tc.want {
			t.Errorf("Disposition(%q)\n = %s\nwant %s", tc.name, got, tc.want)
		}
	}
}
