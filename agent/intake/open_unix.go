//go:build unix

package intake

import "golang.org/x/sys/unix"

// dontWait keeps the opening of a pipe from waiting for its writer; with
// ordinary files it changes nothing.
const dontWait = unix.O_NONBLOCK
