// Package intake takes shots in: from watched folders and from HTTP posts, each
// file exactly once, the original bytes kept before anything is said about them.
//
// A watched folder is looked through again and again; notifications of the
// operating system only make the next look come sooner, because a network share
// sends none, loses some, and vanishes at times. Files in it are read, never
// written, moved or deleted: until a shot is durable in the store, the file in
// the folder is the only copy.
//
// Whether bytes came before is looked up by their SHA-256 in the views, in the
// very transaction that appends the shot's records: this makes taking in exactly
// once, and it holds as well in a store that was rebuilt from its records. Beside
// it the seen list maps a path with size and time to what became of the file, so
// that a restart does not read every file again; losing it costs time, never a
// shot.
package intake
