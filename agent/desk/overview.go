package desk

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const (
	rowsOnOverview  = 12
	shownWaiting    = 5         // files named on the overview
	warnBelowFactor = 4         // times the reserve: from there on the disk is shown as filling
	bytesPerShot    = 1_500_000 // assumed where nothing is stored yet
)

func (d *Desk) overview(c echo.Context) error {
	ctx := c.Request().Context()
	list, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{Arrival: true}, view.Page{Limit: rowsOnOverview})
	if err != nil {
		return err
	}
	n, err := d.counts(ctx)
	if err != nil {
		return err
	}
	p := page.AgentOverview{
		Frame: d.frame(c, "Overview", page.PathOverview), ToAssign: int(n.ToAssign), Quarantine: int(n.Quarantine), SeenAgain: int(n.Sightings),
		Sync: d.Link(ctx).Sync, Disk: d.disk(n.Shots), ShotsKept: page.ShowCount(n.Shots),
	}
	p.Refresh = refreshSeconds
	folders := d.Intake.Folders()
	p.Watch = watchState(folders)
	p.Notices = append(p.Notices, waitingNotices(folders)...)
	p.Notices = append(p.Notices, d.draftNotices(ctx)...)
	for i := range list.Rows {
		row, err := present.ListRow(ctx, d.read, d.scope(), &list.Rows[i], time.Local)
		if err != nil {
			return err
		}
		p.Rows = append(p.Rows, row)
	}
	if len(list.Rows) > 0 {
		p.Last = &p.Rows[0]
		p.LastTraces = page.ShotPath(p.Last.ID) + "#traces"
		scores, err := d.read.Scores(ctx, d.scope(), list.Rows[0].ID)
		if err != nil {
			return err
		}
		if p.LastFlags, err = present.RigFlags(ctx, d.read, d.scope(), list.Rows[0].ID); err != nil {
			return err
		}
		if len(scores) > 0 {
			for _, f := range scores[0].Score.Flags {
				p.LastFlags = append(p.LastFlags, present.Flag(f))
			}
		}
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// watchState sums the folders up: the worst decides.
func watchState(folders []intake.FolderState) page.WatchState {
	if len(folders) == 0 {
		return page.WatchState{State: page.Status{Level: page.Plain, Word: "no folder is watched"}, Detail: "Shots come by HTTP only."}
	}
	w := page.WatchState{State: page.Status{Level: page.OK, Word: "watching"}}
	var dirs, details []string
	for _, f := range folders {
		dirs = append(dirs, f.Dir)
		switch {
		case f.Problem != "":
			w.State = page.Status{Level: page.Bad, Word: "waiting for the folder"}
			if strings.HasPrefix(f.Problem, "The channel map") {
				w.State.Word = "waiting for the channel map"
			}
			details = append(details, f.Problem+" "+f.Fix)
		case f.Map == "":
			details = append(details, "No channel map: the channels are guessed. Put a map.toml into the folder, or start the agent with --map.")
		default:
			details = append(details, "Channel map: "+f.Map+".")
		}
	}
	w.Folder, w.Detail = strings.Join(dirs, ", "), strings.Join(details, " ")
	return w
}

// folderNotices says before a shot why its file would not be seen.
func folderNotices(folders []intake.FolderState) []page.Notice {
	if len(folders) == 0 {
		return []page.Notice{{Level: page.Warn, Text: "No folder is watched: files of shots come over HTTP only.", Fix: "To have one watched, set the rig up under Rig."}}
	}
	var out []page.Notice
	for _, f := range folders {
		if f.Problem != "" {
			out = append(out, page.Notice{Level: page.Bad, Text: "Shots in " + f.Dir + " are not taken in now: " + f.Problem, Fix: f.Fix})
		}
	}
	return out
}

// comingNotices tells before a shot is confirmed that a file is being written
// already: it would not be taken for that shot.
func comingNotices(folders []intake.FolderState) []page.Notice {
	out := waitingNotices(folders)
	if len(out) > 0 {
		out[0].Fix = strings.TrimSpace(out[0].Fix + " A file that lies here before a shot is confirmed is not taken for it: wait until it is taken in, then confirm.")
	}
	return out
}

// waitingNotices names the files that are not taken in yet, and why.
func waitingNotices(folders []intake.FolderState) []page.Notice {
	var out []page.Notice
	more := 0
	for _, f := range folders {
		for _, w := range f.Waiting {
			if len(out) == shownWaiting {
				more++
				continue
			}
			level := page.Plain
			if w.Fix != "" {
				level = page.Warn
			}
			out = append(out, page.Notice{Level: level, Text: fmt.Sprintf("Waiting, %s: %s", w.Name, w.Why), Fix: w.Fix})
		}
	}
	if more > 0 {
		out = append(out, page.Notice{Text: fmt.Sprintf("Waiting: %s more files.", page.ShowCount(int64(more)))})
	}
	return out
}

// disk says how full the disk is, and how many shots fit.
func (d *Desk) disk(shots int64) page.Disk {
	used := d.Size()
	free, err := intake.DiskFree(d.Data)
	if err != nil {
		return page.Disk{State: page.Status{Level: page.Bad, Word: "not known"}, Free: "not known", Used: page.ShowBytes(used)}
	}
	out := page.Disk{State: page.Status{Level: page.OK, Word: "enough"}, Free: page.ShowBytes(free), Used: page.ShowBytes(used)}
	each := int64(bytesPerShot)
	if shots > 0 && used > 0 {
		each = max(used/shots, 1)
	}
	room := max(free-max(d.Reserve, 0), 0)
	out.Detail = "room for about " + page.ShowCount(rounded(room/each)) + " shots"
	switch {
	case d.Reserve > 0 && free < d.Reserve:
		out.State = page.Status{Level: page.Bad, Word: "intake stopped: the disk is nearly full"}
	case d.Reserve > 0 && free < warnBelowFactor*d.Reserve:
		out.State = page.Status{Level: page.Warn, Word: "filling up"}
	}
	return out
}

// rounded keeps two leading digits: an estimate must not look exact.
func rounded(n int64) int64 {
	unit := int64(1)
	for n/unit >= 100 {
		unit *= 10
	}
	return n / unit * unit
}
