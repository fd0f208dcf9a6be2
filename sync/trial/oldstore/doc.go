// Package oldstore keeps a small data folder of each format that was ever
// released, and shows that today's programs open, verify and exchange it. Its
// tests are all there is.
package oldstore
