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
	Refresh int       // seconds after which the main part is fetched again; 0 never
}

func (f Frame) frame() Frame { return f }

// NavItem is one entry of the navigation.
type NavItem struct {
	Text    string
	Href    string
	Current bool
	Count   int // shown beside the text when above zero, as waiting shots
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
	Link  string // text of a link that leads there; empty: there is none
	Href  string
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
		{Text: "Strokes", Href: PathStrokes},
		{Text: "Drift", Href: PathDrift},
		{Text: "Rig", Href: PathRig},
		{Text: "Log", Href: PathLog},
		{Text: "Day", Href: PathDay},
		{Text: "Overview", Href: PathOverview},
		{Text: "Quarantine", Href: PathQuarantine, Count: n.Quarantine},
		{Text: "Seen again", Href: PathSeen, Count: n.SeenAgain},
		{Text: "Alarms", Href: PathAlarms, Count: n.Alarms},
		{Text: "People", Href: PathPeople},
		{Text: "Devices", Href: PathDevices},
		{Text: "Server", Href: PathConnect},
		{Text: "Manual", Href: PathManual},
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
		{Text: "System checks", Href: PathChecks},
		{Text: "Campaigns", Href: PathCampaigns},
		{Text: "Calendar", Href: PathCalendar},
		{Text: "Log", Href: PathLog},
		{Text: "People at the rigs", Href: PathPeople},
		{Text: "Agents", Href: PathAgents},
		{Text: "Alarms", Href: PathAlarms, Count: alarms},
	}
	if administrator {
		items = append(items,
			NavItem{Text: "Accounts", Href: PathAccounts},
			NavItem{Text: "Labs", Href: PathLabs},
			NavItem{Text: "Other servers", Href: PathPool})
	}
	return mark(current, append(items, NavItem{Text: "Manual", Href: PathManual}))
}

func mark(current string, items []NavItem) []NavItem {
	for i := range items {
		items[i].Current = items[i].Href == current
	}
	return items
}
