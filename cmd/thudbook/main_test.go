package main

import (
	"context"
	"os"
	"testing"
)

// TestMain lets the test binary be the program where the program starts itself.
func TestMain(m *testing.M) {
	if os.Getenv(childMark) != "" {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}
