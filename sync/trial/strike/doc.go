// Package strike makes system calls of the real agent program fail, one at a
// time, and looks at what it says and keeps. Its tests are all there is.
package strike
