package desk

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strconv"

	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// sampleLimit bounds the file that a map is made from: it is held in memory.
const sampleLimit = 64 << 20

// Setup is how a rig is set up on the screen.
type Setup struct {
	Given    bool // folder or map stand on the command line, which goes first
	RigGiven bool // the name does
	Save     func(context.Context, NewSetup) error
}

// NewSetup is what a person set up: Map is the channel map in TOML.
type NewSetup struct {
	Rig, Folder string
	Map         []byte
	// OldToo takes in what lies in the folder already; else it is passed over.
	OldToo bool
}

// drafted is a set-up that is not saved yet. It lives as long as the program.
type drafted struct {
	rig, folder, newest, files string
	sample                     string
	bytes                      []byte
	channels                   chanmap.Map
	unsure                     []string
	saved                      bool // channels begins with the map that holds
	oldToo                     bool // what lies in the folder already becomes shots
}

func (d *Desk) draft() drafted {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.drafted
}

func (d *Desk) setDraft(x drafted) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.drafted = x
}

func filesInIt(n int) string {
	return present.Count(int64(n), "file of a shot in it", "files of shots in it")
}

// setup shows the steps that were done, and the next one.
func (d *Desk) setup(c echo.Context) error { return d.setupPage(c, "", nil, http.StatusOK) }

func (d *Desk) setupPage(c echo.Context, path string, typed *httpkit.Filled, status int) error {
	x := d.lookAgain()
	p := page.Setup{Frame: d.frame(c, "Set the rig up", page.PathSetup), Folder: x.folder, Files: x.files, Newest: x.newest, Sample: x.sample, Saved: x.saved, Unsure: x.unsure, Ask: c.QueryParam("ask") != "", Key: httpkit.NewKey(), Done: c.QueryParam("done") != ""}
	if d.Setup.Given {
		p.Given = "The folder or the channel map stands on the agent’s command line (--watch, --map), which goes before this screen. What they say holds, and is shown below. To set the rig up here instead, start the agent with --data alone."
		for _, f := range d.Intake.Folders() {
			p.Holds = append(p.Holds, page.SetupHolds{Folder: f.Dir, Map: f.Map, Problem: f.Problem})
		}
	}
	if p.Done {
		p.Notices = append([]page.Notice{{Level: page.OK, Text: "Saved. The folder is watched from now on."}}, p.Notices...)
	}
	p.Name = httpkit.Blank(page.SetupRigFields(), page.PostSetupRig, "name", "Check the folder")
	p.Name.Values = map[string]string{"rig": cmp.Or(x.rig, d.Rig()), "folder": x.folder}
	if p.Name.Values["folder"] == "" {
		if all := d.Intake.Folders(); len(all) > 0 {
			p.Name.Values["folder"] = all[0].Dir
		}
	}
	if held, _ := d.savedMap(); x.sample == "" && held != nil {
		p.Held = cmp.Or(held.Map.Name, held.Name)
	}
	if x.sample != "" {
		d.showOld(c.Request().Context(), &p, &x)
		d.showMap(c.Request().Context(), &p, &x)
	}
	if typed != nil {
		p.Notices = append(p.Notices, typed.Other...)
		switch path {
		case page.PostSetupRig:
			typed.Into(&p.Name)
		case page.PostSetupMap:
			typed.Into(&p.Rest)
			for i := range p.Channels {
				typed.Into(&p.Channels[i].Form)
			}
		}
	}
	return httpkit.Page(c, status, p)
}

// showOld asks what is to be done with the files that lie in the folder already. One
// that cannot be looked at is told of where it is chosen.
func (d *Desk) showOld(ctx context.Context, p *page.Setup, x *drafted) {
	n, err := d.Intake.Untouched(ctx, x.folder, &x.channels)
	if err != nil {
		d.Log.Warn("what lies in the folder cannot be counted", "folder", x.folder, "error", err)
		return
	}
	if p.OldToo = x.oldToo; n > 0 {
		p.Old = present.Count(int64(n), "file", "files")
	}
}

// showMap shows the map of the draft, each channel with its trace.
func (d *Desk) showMap(ctx context.Context, p *page.Setup, x *drafted) {
	m := x.channels
	p.Trial, p.Replaces = trial(ctx, x), d.replaced(&m)
	got, err := format.Read(ctx, bytes.NewReader(x.bytes), format.Options{Name: x.sample, Map: &m, Size: int64(len(x.bytes))})
	why := "There is no such column in the file."
	if err != nil {
		why = "The file cannot be read by this map."
		p.Notices = append(p.Notices, faultNotice(err))
	}
	for i := range m.Channels {
		ch := page.SetupChannel{Column: m.Channels[i].Column, Why: why, Form: page.Form{ID: "c", Fields: page.SetupChannelFields(i), Values: present.ChannelValues(i, &m.Channels[i])}}
		if err == nil {
			ch.Trace = present.ChannelTrace(&got.Recording, m.Channels[i].Column)
		}
		p.Channels = append(p.Channels, ch)
	}
	n := len(m.Channels)
	p.Channels = append(p.Channels, page.SetupChannel{Form: page.Form{ID: "c", Fields: page.SetupChannelFields(n), Values: map[string]string{"c" + strconv.Itoa(n) + "_cfc": "0"}}})
	p.Rest = page.Form{ID: "rest", Fields: page.SetupMapFields(), Values: present.MapValues(&m)}
	if err == nil {
		for _, f := range got.Faults {
			p.Notices = append(p.Notices, faultNotice(f))
		}
	}
}

func faultNotice(err error) page.Notice {
	n := page.Notice{Level: page.Warn, Text: err.Error()}
	if f, ok := fault.As(err); ok {
		n.Text, n.Fix = f.What, f.Fix
		if f.Channel != "" {
			n.Where = "channel " + f.Channel
		}
		if f.Line > 0 {
			n.Where += fmt.Sprintf(" line %d", f.Line)
		}
	}
	return n
}

func (d *Desk) setupAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error { return d.setupPage(c, path, f, status) }
}

// setupRig takes name and folder.
func (d *Desk) setupRig(c echo.Context) error {
	return d.once.Post(c, whom, page.SetupRigFields(), func(_ context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		x := d.draft()
		x.rig = f.Values["rig"]
		folder, err := filepath.Abs(f.Values["folder"]) // the next start may be from another place
		if err != nil {
			return "", err
		}
		n, newest, err := intake.TryFolder(folder)
		if err != nil {
			return "", err
		}
		x.folder, x.newest, x.files = folder, newest, filesInIt(n)
		d.setDraft(x)
		return page.PathSetup + "#h-3", nil
	}, d.setupAgain(page.PostSetupRig), nil)
}

// setupFile takes the file that the map is made from.
func (d *Desk) setupFile(c echo.Context) error {
	x := d.draft()
	name, b, err := d.sample(c, &x)
	if err == nil && len(b) > sampleLimit {
		err = problem.New(problem.TooLarge, "The file is larger than 64 MB.", "Take a shorter record for the set-up; the size of shots is not bounded by this.")
	}
	if err != nil {
		return err
	}
	open := func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(b)), nil }
	m, unsure, err := format.ProposeMap(c.Request().Context(), open)
	if err != nil {
		n := faultNotice(err)
		return d.setupPage(c, page.PostSetupFile, &httpkit.Filled{Other: []page.Notice{{Level: page.Bad, Text: name + " cannot be read: " + n.Text, Where: n.Where, Fix: n.Fix}}}, http.StatusUnprocessableEntity)
	}
	x.saved = false
	if held, _ := d.savedMap(); held != nil {
		m, unsure, x.saved = startFrom(c.Request().Context(), name, b, held.Map, &m, unsure)
	}
	m.Name = cmp.Or(x.rig, d.Rig(), m.Name) // the proposal's says that nobody looked at it yet
	x.sample, x.bytes, x.channels, x.unsure = name, b, m, unsure
	d.setDraft(x)
	return httpkit.SeeOther(c, page.PathSetup+"#h-4")
}

func (d *Desk) sample(c echo.Context, x *drafted) (name string, b []byte, err error) {
	if c.FormValue("newest") != "" {
		if x.folder == "" || x.newest == "" {
			return "", nil, problem.New(problem.Invalid, "There is no file in the folder yet.", "Go back and choose a file.")
		}
		b, err = intake.Sample(x.folder, x.newest, sampleLimit+1)
		return x.newest, b, err
	}
	h, err := c.FormFile("file")
	if err != nil {
		return "", nil, &problem.Error{Code: problem.Invalid, What: "No file was sent.", Fix: "Go back, choose a file of a shot, and send it.", Err: err}
	}
	f, err := h.Open()
	if err != nil {
		return "", nil, err
	}
	defer f.Close()
	b, err = io.ReadAll(io.LimitReader(f, sampleLimit+1))
	return h.Filename, b, err
}

// setupMap takes the map as it was edited: to look at it on the traces, or to
// save it.
func (d *Desk) setupMap(c echo.Context) error {
	x := d.draft()
	fields := page.SetupMapFields()
	for i := range len(x.channels.Channels) + 1 {
		fields = append(fields, page.SetupChannelFields(i)...)
	}
	return d.once.Post(c, whom, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		present.NeedColumns(f, len(x.channels.Channels)+1)
		m := present.MapOf(f, x.channels, len(x.channels.Channels)+1)
		if !f.OK() {
			return "", nil
		}
		m.Name = cmp.Or(x.rig, d.Rig(), m.Name)
		var b bytes.Buffer
		if err := chanmap.Encode(&b, m); err != nil {
			return "", err
		}
		parsed, err := intake.ParseMap("rig.toml", b.Bytes())
		if err != nil {
			n := faultNotice(err)
			return "", problem.New(problem.Invalid, n.Text, n.Fix)
		}
		x.channels, x.unsure, x.saved = *parsed.Map, nil, false
		x.oldToo = c.FormValue(page.OldFilesField) == page.OldFilesToo
		d.setDraft(x)
		if c.FormValue("do") != page.SetupSave {
			return page.PathSetup + "#h-4", nil
		}
		if r := d.replaced(&x.channels); c.FormValue(page.ReplaceField) != r.Key {
			return page.PathSetup + "?ask=yes#replaces", nil
		}
		if err := d.Setup.Save(ctx, NewSetup{Rig: x.rig, Folder: x.folder, Map: b.Bytes(), OldToo: x.oldToo}); err != nil {
			return "", err
		}
		d.setDraft(drafted{rig: x.rig, folder: x.folder, files: x.files})
		return page.PathSetup + "?done=yes", nil
	}, d.setupAgain(page.PostSetupMap), nil)
}
