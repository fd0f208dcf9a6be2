package page

import "time"

// AgentOverview is the agent's first screen: the last result, what waits, and
// whether the shots are safe elsewhere.
type AgentOverview struct {
	Frame
	Last       *ShotRow  // newest shot, shown large; nil before the first
	Rows       []ShotRow // newest first; Last is among them
	LastFlags  []Flag    // in full for the last shot; Last.Flags when nil
	LastTraces string    // link to the last shot's traces; empty hides it
	ToAssign   int
	Quarantine int
	SeenAgain  int
	Watch      WatchState
	Sync       SyncState
	Disk       Disk
	ShotsKept  string // number of shots in the store, ShowCount
}

// FlagsOfLast are the flags shown with the last shot.
func (o AgentOverview) FlagsOfLast() []Flag {
	if o.LastFlags == nil && o.Last != nil {
		return o.Last.Flags
	}
	return o.LastFlags
}

func (AgentOverview) screen() string { return "agent-overview" }

// WatchState says where the agent looks for files and how that goes.
type WatchState struct {
	Folder string // empty: no folder is watched, shots come by HTTP only
	State  Status // as {OK, "watching"}, {Bad, "folder not reachable"}
	Detail string // error and fix in words
}

// SyncState says in words how the exchange with the server goes.
type SyncState struct {
	State          Status    // as {OK, "up to date"}, {Warn, "server not reachable"}, {Plain, "no server set"}
	Server         string    // address; empty: not connected to any
	PendingRecords int       // not yet acknowledged as durable by the server
	PendingBytes   string    // ShowBytes
	Waiting        string    // what is pending by kinds, in words; empty: as the two above say
	OldestPending  time.Time // zero when nothing is pending
	LastExchange   time.Time // last time something was exchanged and acknowledged; zero: never
	NextTry        time.Time // zero: not planned
	Stuck          string    // why nothing moves, with the fix; empty when all is well
}

// Disk is the space where the store lies.
type Disk struct {
	State  Status // as {OK, "enough"}, {Warn, "below 5 GB"}, {Bad, "intake stopped"}
	Free   string // ShowBytes
	Used   string // ShowBytes, by the store
	Detail string // as "room for about 21 000 shots"
}

// ToAssign lists the shots whose specimen or other facts are not known yet.
type ToAssign struct {
	Frame
	Older  string // link, empty at the oldest
	Newest string // link, empty on the first page
	Rows   []AssignRow
}

func (ToAssign) screen() string { return "to-assign" }

// AssignRow is one waiting shot with its form (AssignFields).
type AssignRow struct {
	Shot    ShotRow
	File    string // name of the acquisition's file
	Missing []string
	Whole   *Whole // nil: the file did not grow, or nothing is to be asked
	Form    Form
}

// Quarantine lists the files in which nothing could be read.
type Quarantine struct {
	Frame
	All  bool // those that were taken off the list too
	Rows []QuarantineRow
}

func (Quarantine) screen() string { return "quarantine" }

// QuarantineRow is one file that was kept without being scored.
type QuarantineRow struct {
	ID     string
	File   string
	At     time.Time
	Size   string
	SHA256 string
	From   string // "watched folder" or "sent by HTTP"
	Error  FileError
	Gone   bool // the bytes could not be kept, as when the file may not be read

	Copies     []QuarantineCopy // further files with the same bytes, the newest last
	MoreCopies int              // earlier ones that are not listed

	Off    Form   // takes it off the list (QuarantineOffFields)
	Answer string // why it is off the list, and who said so
}

// QuarantineOffFields asks why a file is taken off the list.
func QuarantineOffFields() []Field {
	return []Field{{Name: "reason", Label: "Why it is no shot", Kind: "text", Required: true, Help: "As: notes of the day, saved in the wrong folder."}}
}

// QuarantineCopy is one more file with the bytes of a quarantined one.
type QuarantineCopy struct {
	File string
	At   time.Time
	From string
}

// SeenAgain lists the files whose bytes came before, under another name or at
// another time.
type SeenAgain struct {
	Frame
	Rows []SeenRow
}

func (SeenAgain) screen() string { return "seen-again" }

// SeenRow asks whether a file is the same shot or a stroke to count.
type SeenRow struct {
	ID        string
	File      string
	At        time.Time
	FirstFile string
	FirstAt   time.Time
	FirstShot string // id of the shot made from the same bytes
	Specimen  string // of that shot; may be empty
	SHA256    string
	Key       string // idempotency key for the form
}

// Connect is the screen that enrols the agent with a server.
type Connect struct {
	Frame
	State             Status
	Server            string // address; empty: none
	ServerFingerprint string // of the server's key, pinned at enrolment
	OwnFingerprint    string // of this agent's key
	KeyChanging       bool   // a new key waits for the server to take it
	Lab               string // that the agent writes for
	LabID             string // empty: the agent is not enrolled
	EnrolledAt        time.Time
	Sync              SyncState
	Try               *Form // asks the server now; nil: there is none
	Form              Form  // ConnectFields
}

func (Connect) screen() string { return "connect" }
