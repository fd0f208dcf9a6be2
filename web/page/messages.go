package page

import "time"

// Where messages and digests are.
const (
	PathDigest      = "/digest"
	PathMessages    = "/messages"
	PostAddress     = "/messages/addresses"
	PostWebhook     = "/messages/webhooks"
	PostOffMessages = "/messages/off"
	PostTrial       = "/messages/trial"
	PostNewSecret   = "/messages/secret"
	PostSendAgain   = "/messages/again"
)

// Digest is what a day of a lab came to.
type Digest struct {
	Frame
	Lab            string
	Labs           []Choice // to choose from
	Day, Today     string   // dates
	Earlier, Later string   // dates; empty: there is none
	Bad            string   // what is wrong with the day
	Sections       []DigestSection
}

func (Digest) screen() string { return "digest" }

// DigestSection is one part of it.
type DigestSection struct {
	Head  string
	Lines []string
}

// Messages says whom the server tells what, and what became of it.
type Messages struct {
	Frame
	Labs    []MessageLab
	Mail    string // why no mail can be sent; empty: it can
	NoLinks bool   // the server was not told its own address
	Secret  string // of a webhook, shown once
	Address Form   // AddressFields
	Webhook Form   // WebhookFields
}

func (Messages) screen() string { return "messages" }

// MessageLab lists the addresses of one lab.
type MessageLab struct {
	Name string
	Rows []MessageRow
}

// MessageRow is one address.
type MessageRow struct {
	ID     string
	To     string
	Hook   bool
	What   string // as "what is due, alarms; digest at 7:00"
	State  Status // of the last delivery
	Failed string // why it failed
	Last   []MessageSent
	Key    string // of the small forms
}

// MessageSent is one message.
type MessageSent struct {
	ID      string
	Subject string
	Made    time.Time
	State   Status
	Failed  string
	Next    time.Time // of the next try; zero: none
	Lost    bool      // it was given up
}

func wanted() []Field {
	return []Field{
		{Name: "due", Label: "What is due, and what looks wrong", Kind: "checkbox"},
		{Name: "alarms", Label: "Alarms", Kind: "checkbox"},
		{Name: "digest", Label: "The digest of each day", Kind: "checkbox"},
		{Name: "always", Label: "The digest also when there is nothing to say", Kind: "checkbox"},
		{Name: "hour", Label: "Hour of the digest", Unit: "h", Kind: "number", Help: "0 to 23. Empty: 7. It covers the day before."},
		{Name: "zone", Label: "Time zone", Kind: "text", Help: "As Europe/Berlin. Empty: that of the server."},
	}
}

// AddressFields adds a mail address. Choices: "lab".
func AddressFields() []Field {
	return append([]Field{
		{Name: "lab", Label: "Lab", Kind: "select", Required: true},
		{Name: "to", Label: "Mail address", Kind: "text", Required: true, Complete: "email"},
	}, wanted()...)
}

// WebhookFields adds a webhook. Choices: "lab".
func WebhookFields() []Field {
	return append([]Field{
		{Name: "lab", Label: "Lab", Kind: "select", Required: true},
		{Name: "to", Label: "Address of the webhook", Kind: "text", Required: true, Help: "It gets JSON by POST, signed with a secret that is shown once. See the manual."},
	}, wanted()...)
}
