package pagetest

import (
	"fmt"
	"strings"

	"thudbook/web/page"
)

// messages shows what the server tells by itself.
func messages() []Item {
	f := serverFrame("Messages", page.PathHealth)
	form := func(fields []page.Field, action, id, submit string) page.Form {
		return page.Form{ID: id, Action: action, Key: "k", Fields: fields, Submit: submit, Choices: map[string][]page.Choice{"lab": labChoices()}, Values: map[string]string{"due": "yes"}}
	}
	base := page.Messages{Frame: f, Address: form(page.AddressFields(), page.PostAddress, "address", "Add the address"), Webhook: form(page.WebhookFields(), page.PostWebhook, "webhook", "Add the webhook")}
	last := []page.MessageSent{
		{ID: "m2", Subject: "accelerometer X, AC-0441: sensitivity changed: outside its limit", Made: Now().AddDate(0, 0, -1), State: page.Status{Level: page.Warn, Word: "failed, tried again"}, Failed: "it answered 503 Service Unavailable", Next: Now().Add(1e12)},
		{ID: "m1", Subject: "The day 2031-03-12", Made: Now().AddDate(0, 0, -2), State: page.Status{Level: page.OK, Word: "delivered"}},
		{ID: "m0", Subject: "A trial message", Made: Now().AddDate(0, 0, -9), State: page.Status{Level: page.Bad, Word: "given up after 19 tries"}, Failed: "it answered 404 Not Found", Lost: true},
	}
	rows := []page.MessageRow{
		{ID: "s1", To: "lab@northmere.example", What: "what is due, alarms, the digest at 7:00 Europe/Berlin", State: page.Status{Level: page.OK, Word: "delivered"}, Last: last[1:], Key: "k1"},
		{ID: "s2", To: "https://hooks.northmere.example/thudbook", Hook: true, What: "alarms", State: last[0].State, Failed: last[0].Failed, Last: last, Key: "k2"},
	}
	normal := base
	normal.Labs = []page.MessageLab{{Name: "Northmere lab", Rows: rows}, {Name: "Harbour lab"}}
	bare := base
	bare.Labs, bare.Mail, bare.NoLinks = []page.MessageLab{{}}, "This server has no mail server to send by, so mail waits. An administrator sets mail-server and mail-from in the file of settings.", true
	secret := normal
	secret.Secret = strings.Repeat("K7QP93TX2M", 5)
	wrong := normal
	wrong.Address.Values, wrong.Address.Errors = map[string]string{"to": "lab at northmere"}, map[string]string{"to": "This is no mail address. Give the address alone, as lab@example.org."}
	full := base
	for i := range 20 {
		l := page.MessageLab{Name: fmt.Sprintf("Laboratory %d of a name that is much longer than others", i)}
		for j := range 3 {
			r := rows[j%2]
			r.To = fmt.Sprintf("https://hooks.example/%s/%d", strings.Repeat("averylongpath", 8), j)
			l.Rows = append(l.Rows, r)
		}
		full.Labs = append(full.Labs, l)
	}
	digest := page.Digest{Frame: serverFrame("Digest of a day", page.PathHealth), Lab: "l1", Labs: labChoices(), Day: "2031-03-13", Today: "2031-03-14", Earlier: "2031-03-12", Later: "2031-03-14"}
	day := digest
	day.Sections = []page.DigestSection{{Head: "Fired", Lines: []string{"Rig one: 31 shots, 2 void shots, 4 dry strokes, 2 system checks"}}, {Head: "Campaigns, as they stand now", Lines: []string{"Spring comparison, wet: 120 of 480 planned shots done"}},
		{Head: "Looks wrong", Lines: []string{"accelerometer Y, AC-0442: calibration overdue by 12 days"}}, {Head: "Due soon", Lines: []string{"ram one, R-1001: service due in 140 strokes"}}}
	bad := digest
	bad.Day, bad.Bad = "2031-04-31", "“2031-04-31” is not a day that can be summed up. Give a date up to today, as 2031-03-14."
	many := digest
	for i := range 6 {
		x := page.DigestSection{Head: fmt.Sprintf("Section %d", i)}
		for j := range 40 {
			x.Lines = append(x.Lines, fmt.Sprintf("item %d of a name that somebody made much too long, SERIAL-%08d: calibration overdue by %d days", j, j*7919, j))
		}
		many.Sections = append(many.Sections, x)
	}
	return []Item{{"messages", normal}, {"messages-empty", page.Messages{Frame: f}}, {"messages-bare", bare}, {"messages-secret", secret}, {"messages-wrong", wrong}, {"messages-full", full},
		{"digest", day}, {"digest-empty", digest}, {"digest-bad", bad}, {"digest-full", many}}
}
