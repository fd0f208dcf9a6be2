// Package wine runs the tests that depend on the operating system, and the real
// program, as Windows programs under Wine.
package wine
