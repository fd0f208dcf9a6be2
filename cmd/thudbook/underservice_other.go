//go:build !windows

package main

import "context"

// underService runs f; only Windows asks its services to speak to it.
func underService(ctx context.Context, f func(context.Context) int) int { return f(ctx) }
