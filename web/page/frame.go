package page

import "time"

// Frame is what every screen shares: heading, navigation, messages, footer.
type Frame struct {
	Title   string    // of the screen, as "Overview"
	Place   string    // lab and rig, as "Northmere lab, rig one"; may be empty
	Version string    // of the program
	Now     time.Time // when the page was made, in the zone to show; ages are counted from it
	Nav     []NavItem // AgentNav or ServerNav; empty when nobody is signed in
	User    *User     // who is signed in; nil on the agent and on the sign-in screen
	Person  *Operator // who works at the rig; nil on the server, and with nobody on the list
	Notices []Notice  // outcome of the last action, and what needs attention now
	AtRig   bool      // show the cautions for work at the ram
	Sheet   bool      // printed, it is the main part alone
	Skip    []NavItem // what the keyboard reaches first, beside the content
	Refresh int       // seconds after which the main part is fetched again; 0 never
}

func (f Frame) frame() Frame { return f }

// NavItem is one entry of the navigation.
type NavItem struct {
	Text    string
	Href    string
	Current bool
	Count   int  // shown beside the text when above zero, as waiting shots
	Seldom  bool // stands under More, unless it is current or has a count
}

// Often are the entries that are always in sight.
func (f Frame) Often() []NavItem { return f.entries(true) }

// Seldom are those under More.
func (f Frame) Seldom() []NavItem { return f.entries(false) }

func (f Frame) entries(often bool) (out []NavItem) {
	for _, i := range f.Nav {
		if often == (!i.Seldom || i.Current || i.Count > 0) {
			out = append(out, i)
		}
	}
	return out
}

// User is the person signed in to a server.
type User struct {
	Name  string
	Roles string // in words, as "manager in Northmere lab"
}

// Notice is a message above the content. Text says what happened, Fix what to
// do next, Where the place (file, line, channel) if there is one.
type Notice struct {
	Level Level
	Text  string
	Where string
	Fix   string

	Details string // for who looks after the program; shown on demand

	Link string // text of a link that leads there; empty: there is none
	Href string
}

// Level says how a state is drawn: by shape, border and colour, always beside
// a word.
type Level int

// The levels. Plain is neither good nor bad.
const (
	Plain Level = iota
	OK
	Warn
	Bad
)

// Status is a state in one or a few words.
type Status struct {
	Level Level
	Word  string // as "due in 12 days"
}

// AgentCounts are the numbers beside the agent's navigation.
type AgentCounts struct{ ToAssign, Quarantine, SeenAgain, Alarms int }

// AgentNav returns the agent's navigation: a day at the rig in its order, then
// what is seldom needed. current is one of the paths below.
func AgentNav(current string, n AgentCounts) []NavItem {
	return mark(current, []NavItem{
		{Text: "Ready", Href: PathReady},
		{Text: "System check", Href: PathCheck},
		{Text: "Next shot", Href: PathNext},
		{Text: "Result", Href: PathResult},
		{Text: "Shots", Href: PathShots},
		{Text: "To assign", Href: PathAssign, Count: n.ToAssign},
		{Text: "Strokes", Href: PathStrokes, Seldom: true},
		{Text: "Drift", Href: PathDrift, Seldom: true},
		{Text: "Rig", Href: PathRig, Seldom: true},
		{Text: "Set the rig up", Href: PathSetup, Seldom: true},
		{Text: "Log", Href: PathLog},
		{Text: "Day", Href: PathDay, Seldom: true},
		{Text: "Overview", Href: PathOverview, Seldom: true},
		{Text: "Quarantine", Href: PathQuarantine, Seldom: true, Count: n.Quarantine},
		{Text: "Seen again", Href: PathSeen, Seldom: true, Count: n.SeenAgain},
		{Text: "Alarms", Href: PathAlarms, Count: n.Alarms, Seldom: true},
		{Text: "People", Href: PathPeople, Seldom: true},
		{Text: "Devices", Href: PathDevices, Seldom: true},
		{Text: "Server", Href: PathConnect, Seldom: true},
		{Text: "Manual", Href: PathManual, Seldom: true},
	})
}

// ServerNav returns the server's navigation; administrators also see accounts
// and labs. alarms is how many alarms nobody has seen.
func ServerNav(current string, administrator bool, alarms int) []NavItem {
	items := []NavItem{
		{Text: "Overview", Href: PathHome},
		{Text: "Shots", Href: PathShots},
		{Text: "Equipment", Href: PathEquipment},
		{Text: "What is due", Href: PathHealth},
		{Text: "System checks", Href: PathChecks, Seldom: true},
		{Text: "Campaigns", Href: PathCampaigns},
		{Text: "Calendar", Href: PathCalendar},
		{Text: "Log", Href: PathLog, Seldom: true},
		{Text: "People at the rigs", Href: PathPeople, Seldom: true},
		{Text: "Agents", Href: PathAgents, Seldom: true},
		{Text: "Alarms", Href: PathAlarms, Count: alarms},
	}
	if administrator {
		items = append(items,
			NavItem{Text: "Accounts", Href: PathAccounts, Seldom: true},
			NavItem{Text: "Labs", Href: PathLabs, Seldom: true},
			NavItem{Text: "Other servers", Href: PathPool, Seldom: true})
	}
	return mark(current, append(items, NavItem{Text: "Manual", Href: PathManual, Seldom: true}))
}

func mark(current string, items []NavItem) []NavItem {
	for i := range items {
		items[i].Current = items[i].Href == current
	}
	return items
}
