package secret

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"thudbook/sync/problem"
)

// TestPasswordHash checks the form of the stored hash, and that it holds what
// it says.
func TestPasswordHash(t *testing.T) {
	t.Parallel()
	a, b := Hash("a long password"), Hash("a long password")
	if a == b || !strings.HasPrefix(a, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hashes %q and %q", a, b)
	}
	for password, want := range map[string]bool{"a long password": true, "a long passwore": false, "": false, "A long password": false} {
		if ok, err := Match(a, password); ok != want || err != nil {
			t.Errorf("%q: %t, %v", password, ok, err)
		}
	}
	for _, bad := range []string{"", "x", "$argon2i$v=19$m=1,t=1,p=1$AA$AA", "$argon2id$v=16$m=1,t=1,p=1$AA$AA", "$argon2id$v=19$m=1,t=0,p=1$AA$AA", "$argon2id$v=19$m=1,t=1,p=1$!$AA", "$argon2id$v=19$m=8,t=1,p=1$AA$", "$argon2id$v=19$m=4000000,t=1,p=1$AA$AA", "$argon2id$v=19$m=8,t=4000000,p=1$AA$AA"} {
		if ok, err := Match(bad, "x"); ok || err == nil {
			t.Errorf("the hash %q is taken", bad)
		}
	}
}

// TestPublishedHash matches a test value of the argon2 reference program
// (password "password", salt "somesalt", 64 MiB, two passes; from memory, not
// confirmed against print).
func TestPublishedHash(t *testing.T) {
	t.Parallel()
	const published = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if ok, err := Match(published, "password"); !ok || err != nil {
		t.Errorf("%t, %v", ok, err)
	}
}

func TestThrottleKeepsLittle(t *testing.T) {
	t.Parallel()
	now := time.Unix(1_800_000_000, 0)
	th := NewThrottle(func() time.Time { return now }, Limits{Tries: "PINs", What: "this name", Free: 1, First: time.Second, Most: 8 * time.Second})
	for i := range mostKeys {
		th.Failed(fmt.Sprint(i))
	}
	th.Failed("one more")
	if len(th.keys) > mostKeys {
		t.Errorf("%d keys are kept", len(th.keys))
	}
	for _, want := range []time.Duration{1, 2, 4, 8, 8, 8, 8} {
		th.Failed("guess")
		if err := th.Allow("guess"); problem.Of(err) != problem.Unavailable {
			t.Fatalf("a wait of %d s is not kept: %v", want, err)
		}
		now = now.Add(want * time.Second)
		if err := th.Allow("guess"); err != nil {
			t.Errorf("after %d s: %v", want, err)
		}
	}
	th.Failed("")
	if err := th.Allow(""); err != nil {
		t.Errorf("a caller without a key has to wait: %v", err)
	}
	th.Succeeded("guess")
	if _, there := th.keys["guess"]; there {
		t.Error("a success does not forget the failures")
	}
}

// What is kept of a key over a restart goes on where it was; a wait that a wrong
// clock made long is cut to the longest there is.
func TestThrottleOverARestart(t *testing.T) {
	t.Parallel()
	now := time.Unix(1_800_000_000, 0)
	l := Limits{Tries: "PINs", What: "this name", Free: 1, First: time.Second, Most: 8 * time.Second}
	a, b := NewThrottle(func() time.Time { return now }, l), NewThrottle(func() time.Time { return now }, l)
	if w := a.Of("x"); w.Failed != 0 {
		t.Errorf("of a key that nothing is known of: %+v", w)
	}
	for range 3 {
		a.Failed("x")
	}
	b.Restore("x", a.Of("x"))
	if err := b.Allow("x"); problem.Of(err) != problem.Unavailable {
		t.Errorf("the wait is lost: %v", err)
	}
	b.Failed("x")
	if w := b.Of("x"); w.Failed != 4 || w.Until.Sub(now) != 8*time.Second {
		t.Errorf("it does not go on where it was: %+v", w)
	}
	b.Restore("y", Wait{Failed: 9, Until: now.AddDate(1, 0, 0)})
	if w := b.Of("y"); w.Until.Sub(now) != 8*time.Second {
		t.Errorf("a year is waited: %+v", w)
	}
	b.Restore("z", Wait{Until: now.Add(time.Second)})
	if err := b.Allow("z"); err != nil {
		t.Errorf("a wait without a wrong try: %v", err)
	}
}
