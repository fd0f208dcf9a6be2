package present

import (
	"time"

	"thudbook/sync/people"
	"thudbook/sync/record"
	"thudbook/web/page"
)

// PeopleOf words the list of people at the rigs. With may it has the forms that
// change it; labOf names labs where several are shown, and may be nil.
func PeopleOf(all []people.Person, may bool, labOf func(record.LabID) string, who func(author string) string, now time.Time) page.PeopleList {
	l := page.PeopleList{Now: now}
	var on, off, named []page.Choice
	for i := range all {
		p := &all[i]
		row := page.PersonRow{Name: p.Name, Since: p.Since.In(now.Location()), State: page.Status{Level: page.OK, Word: "on the list"}}
		if labOf != nil {
			row.Lab = labOf(p.Lab)
		}
		pick := page.Choice{Value: p.ID.String(), Text: p.Name}
		if p.Name != "" {
			named = append(named, pick)
		}
		switch {
		case p.Erased != nil:
			row.Name, row.State, row.Why = people.ErasedName, page.Status{Level: page.Plain, Word: "erased"}, p.Erased.Reason+by(who, p.Erased.Author)
		case p.Withdrawn != nil:
			row.State, row.Why = page.Status{Level: page.Plain, Word: "withdrawn"}, p.Withdrawn.Reason+by(who, p.Withdrawn.Author)
			if p.Name != "" {
				off = append(off, pick)
			}
		case p.Name == "":
			row.State = page.Status{Level: page.Warn, Word: "cannot sign in yet"}
		default:
			on = append(on, pick)
		}
		l.Rows = append(l.Rows, row)
	}
	if !may {
		return l
	}
	l.Add = page.Form{ID: "add", Action: page.PostPerson, Fields: page.PersonFields(), Submit: "Add to the list"}
	choose := func(id, action, submit string, fields []page.Field, who []page.Choice) page.Form {
		if len(who) == 0 {
			return page.Form{}
		}
		return page.Form{ID: id, Action: action, Fields: fields, Submit: submit, Choices: map[string][]page.Choice{"person": who}}
	}
	l.PIN = choose("newpin", page.PostPIN, "Set the PIN", page.NewPINFields(), on)
	l.Off = choose("off", page.PostOffList, "Withdraw", page.OffListFields(), on)
	l.On = choose("on", page.PostOnList, "Put back", page.OnListFields(), off)
	l.Erase = choose("erase", page.PostErase, "Erase for good", page.EraseFields(), named)
	return l
}

func by(who func(string) string, author string) string {
	if who == nil {
		return ""
	}
	if name := who(author); name != "" {
		return ", by " + name
	}
	return ""
}
