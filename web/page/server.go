package page

import "time"

// SignIn is the server's first screen for a stranger.
type SignIn struct {
	Frame
	Form Form // SignInFields, and hidden "next"
}

func (SignIn) screen() string { return "sign-in" }

// ServerOverview shows the caller's labs at a glance.
type ServerOverview struct {
	Frame
	Labs    []LabRow
	Overdue []DueRow // what is overdue or due soon, worst first
	// Administrator may make labs.
	Administrator bool
	Agents        []AgentRow
	Fetched       string // labs whose agents send to their own servers, as "Hillside lab"
}

func (ServerOverview) screen() string { return "server-overview" }

// LabRow is one lab with its counts.
type LabRow struct {
	ID        string
	Name      string
	Shots     string    // ShowCount
	LastShot  time.Time // zero: none yet
	Campaigns string
	ToAssign  int
	Agents    int
	Overdue   int // overdue items
	DueSoon   int
}

// DueRow is one thing that is due, or about to be.
type DueRow struct {
	Lab   string
	Item  string // name and serial number
	Kind  string // "ram", "sensor"
	What  string // "service", "calibration"
	State Status // as {Bad, "overdue by 12 days"}
	Href  string
}

// Agents lists the enrolled agents.
type Agents struct {
	Frame
	Rows      []AgentRow
	Fetched   string // labs whose agents send to their own servers
	MayEnrol  bool
	NoLab     bool   // that the caller could make a code for, since there is none at all
	MayLab    bool   // the caller may make one
	Form      Form   // CodeFields
	NewCode   string // shown once, right after it was made
	CodeFor   string // agent and lab the code is for
	CodeUntil time.Time
	Lost      Form       // LostKeyFields; shown with Revoke
	Revoke    Form       // RevokeFields; shown where MayEnrol and any agent can be withdrawn
	Key       *ServerKey // for administrators
}

// ServerKey is the key that the server proves itself with, and the one to come.
type ServerKey struct {
	Now       string // fingerprint
	Next      string // fingerprint; empty: none is announced
	Heard     []string
	NotHeard  []string
	OpenCodes int
	Form      Form // NewServerKeyFields or UseServerKeyFields
}

// UseServerKeyFields goes on with the announced key; missing: agents have not
// heard of it.
func UseServerKeyFields(missing bool) []Field {
	if !missing {
		return nil
	}
	return []Field{{Name: "anyway", Label: "Go on although agents have not heard of it", Kind: "checkbox", Help: "Each of them then needs a new code. What they record is kept."}}
}

func (Agents) screen() string { return "agents" }

// AgentRow is one agent as the server last heard of it.
type AgentRow struct {
	Name          string
	Server        bool // another server, which fetches the labs
	Lab           string
	State         Status    // as {OK, "connected"}, {Warn, "silent for 3 h"}, {Bad, "fork found"}
	LastSeen      time.Time // zero: never
	RecordsBehind int64     // as the agent said last
	BytesBehind   string    // ShowBytes
	Silent        bool      // RecordsBehind is of some time ago
	ClockOffset   string    // as "+0.4 s", "2 h slow"
	ClockState    Level
	Fingerprint   string // of the agent's key
	Version       string
}

// Accounts is the administrator's list of people.
type Accounts struct {
	Frame
	Rows   []AccountRow
	Form   Form // AccountFields
	Role   Form // RoleFields
	Access Form // AccessFields
}

func (Accounts) screen() string { return "accounts" }

// Password is the screen on which a person replaces their own password.
type Password struct {
	Frame
	Form Form // PasswordFields
}

func (Password) screen() string { return "password" }

// AccountRow is one account.
type AccountRow struct {
	Name     string
	Roles    []string // as "manager in Northmere lab"
	LastSeen time.Time
	State    Status // as {OK, "active"}, {Plain, "locked"}
}

// Labs is the administrator's list of labs.
type Labs struct {
	Frame
	Rows []LabRow
	Form Form // LabFields
}

func (Labs) screen() string { return "labs" }

// Problem is an error screen. Status is the HTTP status.
type Problem struct {
	Frame
	Status int
	What   string // one sentence
	Where  string
	Fix    string
	Link   string // text of Href
	Href   string // where it can be mended; empty: only the overview is offered
	ID     string // request id to quote, so that the log can be searched
}

func (Problem) screen() string { return "problem" }

// Manual is one page of the manual.
type Manual struct {
	Frame
	Pages []NavItem
	Body  Prose
}

func (Manual) screen() string { return "manual" }

// Licences shows the notices of the libraries in the program.
type Licences struct {
	Frame
	Items []Licence
}

func (Licences) screen() string { return "licences" }

// Licence is one library's notice.
type Licence struct{ Name, Version, Text string }
