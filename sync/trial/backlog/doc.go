// Package backlog lets a large backlog drain from a real agent to a real server
// and looks at the memory that both take meanwhile. Its tests are all there is.
package backlog
