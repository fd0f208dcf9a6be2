// Package wire tries the real agent and server over a line of its own: two
// network namespaces joined by a pair of interfaces, with a rate, losses and
// breaks. Nothing of it reaches another network. It needs Linux and root; the
// quick set runs with the tests, the whole of it by make wire.
package wire
