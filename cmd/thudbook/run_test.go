package main

import (
	"bytes"
	"context"
	"testing"
)

// thudbook runs one command to its end and gives what it printed and its exit code.
func thudbook(ctx context.Context, t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errOut bytes.Buffer
	code = run(ctx, args, &out, &errOut)
	return out.String(), errOut.String(), code
}
