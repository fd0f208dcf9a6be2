package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func alarms() []Item {
	f := serverFrame("Alarms", page.PathAlarms)
	rows := []page.AlarmRow{
		{ID: "a1", At: ago(20 * time.Minute), Lab: "Harbour lab", Text: "The clock of agent rig two is 3 days ahead of this server's. Set the clock of its PC; what it recorded keeps its order, and the times of its shots can be corrected."},
		{ID: "a2", At: ago(26 * time.Hour), Lab: "Hillside lab", Text: "Two histories came under the name of agent rig four: its data folder was restored from a backup and used, or it runs on two PCs. Both are kept and every shot counts once. If there are two PCs, stop one, and enrol it again with a data folder and a code of its own.",
			SeenBy: "M. Imogen Vane", SeenAt: ago(2 * time.Hour)},
	}
	var many []page.AlarmRow
	for i := range 60 {
		r := rows[i%2]
		r.ID, r.At = fmt.Sprintf("m%d", i), ago(time.Duration(i)*time.Hour)
		many = append(many, r)
	}
	failed := f
	failed.Notices = []page.Notice{{Level: page.Bad, Text: "There is no such alarm.", Fix: "Look at the list of alarms."}}
	rig := agentFrame("Alarms", page.PathAlarms, page.AgentCounts{Alarms: 1})
	atRig := []page.AlarmRow{
		{ID: "r1", At: ago(3 * time.Hour), Text: "This agent was withdrawn on the server: the PC was replaced. Shots are recorded here all the same. Enrol it again with a new code, or keep it for reading alone."},
		{ID: "r2", At: ago(30 * time.Hour), Text: "This computer goes on in a new chain of records. The chain before is closed, because its end was in doubt, as after a backup was restored. Records that are here stay, and you can go on working. Tell the person who looks after this computer.",
			Details: "origin 7d1c/b3d9/4 is closed and will not be written again: the node was restored from a backup of 2026-05-04. The next record for this lab opens epoch 5.", SeenBy: "O. Tamsin Reed", SeenAt: ago(29 * time.Hour)},
	}
	return []Item{
		{"alarms-rig", page.Alarms{Frame: rig, Rows: atRig, Open: 1}},
		{"alarms", page.Alarms{Frame: f, Rows: rows, Open: 1}},
		{"alarms-empty", page.Alarms{Frame: f}},
		{"alarms-error", page.Alarms{Frame: failed, Rows: rows[1:]}},
		{"alarms-full", page.Alarms{Frame: f, Rows: many, Open: 30}},
	}
}
