//go:build !unix

package intake

// dontWait is not needed where pipes do not lie in folders.
const dontWait = 0
