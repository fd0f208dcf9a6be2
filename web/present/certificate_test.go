package present

import (
	"testing"
	"time"
	_ "time/tzdata" // the zones below, wherever the test runs

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
)

// The days of a certificate are kept so that they read the same in every zone, and
// what a program typed with a time of day keeps its time.
func TestCertificateKeepsItsDays(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Pacific/Auckland", "Pacific/Honolulu", "Asia/Kolkata", "UTC", "Pacific/Kiritimati", "Pacific/Pago_Pago"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		now := time.Date(2026, 3, 20, 12, 0, 0, 0, zone)
		f := &httpkit.Filled{Values: map[string]string{"effective_at": "2026-03-14", "due_at": "2027-03-13", "certificate": "K-1"}, Errors: map[string]string{}}
		b := Certificate(f, now)
		on, due := b.Days()
		if !f.OK() || on != (lab.Date{Year: 2026, Month: 3, Day: 14}) || due != (lab.Date{Year: 2027, Month: 3, Day: 13}) {
			t.Errorf("%s: typed 2026-03-14 and 2027-03-13, read %s and %s %v", name, on, due, f.Errors)
		}
		f.Values["effective_at"] = "2026-03-14T10:20"
		if got, want := Certificate(f, now).EffectiveAt, lab.At(time.Date(2026, 3, 14, 10, 20, 0, 0, zone)); got != want {
			t.Errorf("%s: a time of day: %s, want %s", name, got, want)
		}
		f.Values["due_at"] = "13.3.2027"
		if Certificate(f, now); f.Errors["due_at"] == "" {
			t.Errorf("%s: a date that is none is taken", name)
		}
	}
}
