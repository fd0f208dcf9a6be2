package page

import "time"

// Where other servers are.
const (
	PathPool     = "/servers"
	PostPool     = "/servers"
	PostPoolStop = "/servers/stop"
	PostPoolNow  = "/servers/now"
	PostPoolKey  = "/servers/key"
)

// Pool lists the labs that are fetched from other servers.
type Pool struct {
	Frame
	Rows []PoolRow
	Form Form   // PoolFields
	Key  string // of the form that changes the key; empty: nothing is fetched
}

func (Pool) screen() string { return "pool" }

// PoolRow is one lab that is fetched.
type PoolRow struct {
	ID           string
	Lab          string
	Server       string // its address
	State        Status // as {OK, "up to date"}, {Warn, "not reachable"}
	Stuck        string // why, and what to do
	Since        time.Time
	LastExchange time.Time // zero: never
	Moving       string    // what is under way, as "fetched 120 records, 4 files"
	ToSend       string    // what was written here and is not there yet; empty: nothing
	Clock        string    // what is wrong with it; empty: nothing
	Fingerprint  string    // of the server's key
	OwnKey       string    // fingerprint of this server's key there
	KeyChanging  bool      // a new one waits for that server to take it
	Stopped      time.Time // zero: it is fetched
	Key          string    // of the small forms
}

// PoolFields asks for another server.
func PoolFields() []Field {
	return []Field{
		{Name: "server", Label: "Address of the lab's server", Kind: "text", Required: true, Help: "As https://thudbook.example:8443"},
		{Name: "code", Label: "One-time code", Kind: "text", Required: true, Complete: "one-time-code",
			Help: "The lab's manager makes it on that server under Agents, and may name it after this server. It works once, for one lab."},
	}
}
