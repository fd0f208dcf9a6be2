package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func people() []Item {
	names := []string{"Ann Brook", "Carl Dune", "Wilma Quill"}
	operators := func(n int, current string) page.Operators {
		o := page.Operators{Frame: agentFrame("Who is at the rig", page.PathPeople, page.AgentCounts{}), Current: current, Next: "/shots"}
		for i := range n {
			name := names[i%len(names)]
			if i >= len(names) {
				name = fmt.Sprintf("%s the %dth, of the department for impact", name, i)
			}
			o.People = append(o.People, page.OperatorRow{Name: name, Href: page.PersonPath(fmt.Sprint(i)), Current: name == current})
		}
		if n > 0 {
			o.Person = &page.Operator{Name: current, Href: page.PathPeople}
		}
		return o
	}
	list := func(n int) page.PeopleList {
		l := page.PeopleList{Now: Now()}
		for i := range n {
			row := page.PersonRow{Name: names[i%len(names)], State: page.Status{Level: page.OK, Word: "on the list"}, Since: ago(time.Duration(i+1) * 40 * 24 * time.Hour)}
			switch i % 6 {
			case 5:
				row.Name, row.State, row.Why = "erased person", page.Status{Level: page.Plain, Word: "erased"}, "asked for it, by r.example"
			case 3:
				row.State, row.Why = page.Status{Level: page.Plain, Word: "withdrawn"}, "left the lab, by r.example"
			case 4:
				row.Name, row.State = "", page.Status{Level: page.Warn, Word: "cannot sign in yet"}
			}
			l.Rows = append(l.Rows, row)
		}
		who := map[string][]page.Choice{"person": {{Value: "1", Text: names[0]}, {Value: "2", Text: names[1]}}}
		l.Add = page.Form{ID: "add", Action: page.PostPerson, Fields: page.PersonFields(), Submit: "Add to the list"}
		if n > 0 {
			l.PIN = page.Form{ID: "newpin", Action: page.PostPIN, Fields: page.NewPINFields(), Submit: "Set the PIN", Choices: who}
			l.Off = page.Form{ID: "off", Action: page.PostOffList, Fields: page.OffListFields(), Submit: "Withdraw", Choices: who}
			l.On = page.Form{ID: "on", Action: page.PostOnList, Fields: page.OnListFields(), Submit: "Put back", Choices: who}
			l.Erase = page.Form{ID: "erase", Action: page.PostErase, Fields: page.EraseFields(), Submit: "Erase for good", Choices: who}
		}
		return l
	}
	empty := operators(0, "")
	empty.Keeps, empty.List = true, list(0)
	kept := operators(3, "Wilma Quill")
	kept.Keeps, kept.List = true, list(5)
	pin := page.PIN{Frame: agentFrame("Wilma Quill", page.PathPeople, page.AgentCounts{}), Name: "Wilma Quill", Back: page.PathPeople,
		Form: page.Form{Action: page.PersonPath("2"), Fields: page.PINFields(), Hidden: map[string]string{"next": "/"}}}
	waits := pin
	waits.Wait = 12 * time.Second
	waits.Form.Errors = map[string]string{"pin": "Too many wrong PINs for this name."}
	wrong := pin
	wrong.Form.Errors = map[string]string{"pin": "This is not the PIN. Try again; who keeps the list can set a new one."}
	rig := page.RigPeople{Frame: serverFrame("People at the rigs", page.PathPeople), List: list(0)}
	full := page.RigPeople{Frame: serverFrame("People at the rigs", page.PathPeople), List: list(60),
		Lab: page.Form{ID: "which", Fields: []page.Field{{Name: "lab", Label: "Lab", Kind: "select", Required: true}}, Choices: map[string][]page.Choice{"lab": {{Value: "1", Text: "Northmere lab"}, {Value: "2", Text: "Southmere lab"}}}}}
	bad := page.RigPeople{Frame: serverFrame("People at the rigs", page.PathPeople), List: list(3)}
	bad.List.Add.Values = map[string]string{"name": "Ann Brook"}
	bad.List.Add.Errors = map[string]string{"name": "This name is on the list already. Add something that tells the two apart, such as a department."}
	unsent := page.Unsent{Frame: agentFrame("Not sent yet", page.PathPeople, page.AgentCounts{}), Action: "/shots/x/correct", Back: "/shots/x",
		Typed:  []page.UnsentValue{{Name: "Specimen", Value: longName}, {Name: "Impact location", Value: "front"}, {Name: "reason", Value: "the bar was bent before the hit, as the photo shows"}},
		Hidden: []page.UnsentValue{{Name: "specimen", Value: longName}}}
	return []Item{{"unsent", unsent},
		{"operators-empty", empty}, {"operators", operators(3, "")}, {"operators-kept-here", kept}, {"operators-full", operators(60, "Carl Dune")},
		{"pin", pin}, {"pin-error", wrong}, {"pin-waits", waits}, {"rig-people-empty", rig}, {"rig-people-error", bad}, {"rig-people-full", full},
	}
}
