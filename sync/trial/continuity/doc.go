// Package continuity sets data folders of the real programs back, copies and
// wipes them, and shows that no acknowledged shot is lost, that each counts
// once, and that a person is told. Its tests are all there is.
package continuity
