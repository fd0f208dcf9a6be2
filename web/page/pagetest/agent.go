package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

func agentRest() []Item {
	counts := page.AgentCounts{ToAssign: 3, Quarantine: 2, SeenAgain: 1}
	connect := page.Form{Action: page.PostConnect, Fields: page.ConnectFields(), Submit: "Connect"}
	wrong := connect
	wrong.Values = map[string]string{"server": "https://thudbook.example:8443", "code": "K7QP-0000"}
	wrong.Errors = map[string]string{"code": "The server does not know this code, or it was used already. Ask a manager for a new one."}
	var waiting []page.AssignRow
	for i := range 3 {
		r := row(4 + 9*i)
		form := assignForm(fmt.Sprint(i))
		if i == 2 {
			form.Errors = map[string]string{"specimen": "Say which specimen it was, or that it was a dry stroke."}
		}
		waiting = append(waiting, page.AssignRow{Shot: r, File: fmt.Sprintf("shot_%04d.csv", 40+i), Missing: []string{"specimen", "location", "target speed"}, Form: form})
	}
	waiting[0].Whole = &page.Whole{Parts: []page.Reference{{Text: "shot_0040.csv, 2026-11-25 14:02:11, FG-A-012, front", Href: page.ShotPath("019571b2")}},
		Form: page.Form{Action: page.PostWhole, Submit: "The same stroke: this whole file counts"}}
	return []Item{
		{"to-assign", page.ToAssign{Frame: agentFrame("To assign", page.PathAssign, counts), Rows: waiting}},
		{"to-assign-empty", page.ToAssign{Frame: agentFrame("To assign", page.PathAssign, page.AgentCounts{})}},
		{"quarantine", page.Quarantine{Frame: agentFrame("Quarantine", page.PathQuarantine, counts), Rows: []page.QuarantineRow{
			{ID: "q1", File: "shot_0041.csv", At: ago(2 * time.Hour), Size: page.ShowBytes(0), SHA256: strings.Repeat("e3b0", 16), From: "watched folder",
				Error:  page.FileError{Code: "empty_file", What: "The file is empty.", Fix: "Check that the acquisition was armed and had room on its disk, then export the shot again."},
				Copies: []page.QuarantineCopy{{File: "shot_0043.csv", At: ago(time.Hour), From: "watched folder"}, {File: strings.Repeat("a very long file name without a space_", 4) + ".csv", At: ago(time.Minute), From: "sent by HTTP"}}, MoreCopies: 3},
			{ID: "q2", File: strings.Repeat("a very long file name without a space_", 4) + ".csv", At: ago(26 * time.Hour), Size: page.ShowBytes(512_000_000), SHA256: strings.Repeat("77aa", 16), From: "sent by HTTP",
				Error: page.FileError{Code: "time_backwards", What: "Time runs backwards: 0.0120 s comes after 0.0125 s.", Line: 812, Column: 1, Channel: "t", Fix: "Export the file again; if two records were joined, split them."}},
			{ID: "q3", File: "locked.csv", At: ago(49 * time.Hour), From: "watched folder", Gone: true, Error: page.FileError{Code: "unreadable", What: "The file may not be read.", Fix: "Give the agent's account the right to read it."},
				Off: page.Form{ID: "q3", Action: page.QuarantineOffPath("q3"), Fields: page.QuarantineOffFields(), Submit: "Take it off the list", Errors: map[string]string{"reason": "This is needed."}}},
		}}},
		{"quarantine-all", page.Quarantine{Frame: agentFrame("Quarantine", page.PathQuarantine, counts), All: true, Rows: []page.QuarantineRow{
			{ID: "q4", File: "notes.txt", At: ago(3 * time.Hour), Size: page.ShowBytes(310), SHA256: strings.Repeat("9a1c", 16), From: "watched folder", Answer: "notes of the day, saved in the wrong folder · Ines Halvorsen",
				Error: page.FileError{Code: "no_columns", What: "No column of numbers is in the file.", Fix: "Check which file it is."}}}}},
		{"quarantine-empty", page.Quarantine{Frame: agentFrame("Quarantine", page.PathQuarantine, page.AgentCounts{})}},
		{"seen-again", page.SeenAgain{Frame: agentFrame("Seen again", page.PathSeen, counts), Rows: []page.SeenRow{
			{ID: "s1", File: "copy of shot_0012.csv", At: ago(11 * time.Minute), FirstFile: "shot_0012.csv", FirstAt: ago(26 * time.Hour), FirstShot: "019571b2", Specimen: "FG-A-012", SHA256: strings.Repeat("3f9c", 16), Key: "k1"}}}},
		{"seen-again-empty", page.SeenAgain{Frame: agentFrame("Seen again", page.PathSeen, page.AgentCounts{})}},
		{"connect-empty", page.Connect{Frame: agentFrame("Server", page.PathConnect, page.AgentCounts{}), State: page.Status{Level: page.Plain, Word: "no server set"}, OwnFingerprint: fingerprint, Form: connect}},
		{"connect", page.Connect{Frame: agentFrame("Server", page.PathConnect, page.AgentCounts{}), State: page.Status{Level: page.OK, Word: "enrolled"}, Server: "https://thudbook.example:8443", Try: &page.Form{Action: page.PostTryNow, Submit: "Try now"}, ServerFingerprint: fingerprint, OwnFingerprint: fingerprint,
			Lab: "Northmere lab", EnrolledAt: ago(90 * 24 * time.Hour), Sync: syncStuck(), Form: connect}},
		{"connect-key", page.Connect{Frame: agentFrame("Server", page.PathConnect, page.AgentCounts{}), State: page.Status{Level: page.OK, Word: "up to date"}, Server: "https://thudbook.example:8443", ServerFingerprint: fingerprint, OwnFingerprint: fingerprint,
			KeyChanging: true, Lab: "Northmere lab", EnrolledAt: ago(90 * 24 * time.Hour), Sync: syncStuck(), Form: connect}},
		{"connect-error", page.Connect{Frame: agentFrame("Server", page.PathConnect, page.AgentCounts{}), State: page.Status{Level: page.Plain, Word: "no server set"}, OwnFingerprint: fingerprint, Form: wrong}},
		{"manual", page.Manual{Frame: agentFrame("Manual", page.PathManual, page.AgentCounts{}), Pages: []page.NavItem{{Text: "First steps", Href: "/manual", Current: true}, {Text: "Flags", Href: "/manual/flags"}},
			Body: "<h2>First steps</h2><p>Start the agent with the folder that the acquisition writes to.</p>"}},
		{"licences", page.Licences{Frame: agentFrame("Licences", page.PathLicences, page.AgentCounts{}), Items: []page.Licence{{Name: "a library", Version: "1.0.0", Text: "Permission is granted.\n" + strings.Repeat("long line ", 40)}, {Name: "another"}}}},
	}
}

const fingerprint = "SHA256 4c1f 9a02 77be 0d11 5e6a 93c4 2f08 b7d9 61aa 3e5c 90f2 18d4 c6b3 7a0e f451 8d29"
