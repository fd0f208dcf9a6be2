//go:build !unix

package home

func readOnlyFS(error) bool { return false }
