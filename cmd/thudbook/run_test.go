package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// thudbook runs one command to its end and gives what it printed and its exit code.
func thudbook(ctx context.Context, t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errOut bytes.Buffer
	code = run(ctx, args, &out, &errOut)
	return out.String(), errOut.String(), code
}

// "help" and "help COMMAND" are what many type first.
func TestHelpInWords(t *testing.T) {
	for _, tc := range []struct {
		args []string
		want string
	}{{[]string{"help"}, "Commands:"}, {[]string{"help", "verify"}, "thudbook verify"}} {
		if out, errOut, code := thudbook(t.Context(), t, tc.args...); code != exitOK || !strings.Contains(out, tc.want) {
			t.Errorf("%q: exit code %d, %q missing in\n%s%s", tc.args, code, tc.want, out, errOut)
		}
	}
}
