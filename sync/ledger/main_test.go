package ledger_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// The model test syncs a real disk hundreds of times per history, so fewer
// histories than usual are the default; -rapid.checks asks for more.
func TestMain(m *testing.M) {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "rapid.checks" })
	if !given {
		if err := flag.Set("rapid.checks", "30"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}
