package agent

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"thudbook/agent/desk"
	"thudbook/agent/intake"
	"thudbook/sync/durable"
	"thudbook/sync/problem"
)

// setupFile keeps in the data folder what was set up on the screen; what is
// given on the command line goes before it.
const setupFile = "setup.json"

// setup is what that file holds.
type setup struct {
	Rig   string   `json:"rig"`
	Watch []string `json:"watch,omitempty"`
	Map   string   `json:"map,omitempty"` // below the data folder
}

func readSetup(data string) (s setup, err error) {
	path := filepath.Join(data, setupFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &s)
	}
	if err != nil {
		return s, &problem.Error{Code: problem.Invalid, What: "What was set up on the screen cannot be read.", Where: path,
			Fix: "Mend the file, or move it away and set the rig up again on the screen.", Err: err}
	}
	return s, nil
}

// setUp fills in what the command line does not say, and notes what it says.
func (o *Options) setUp() error {
	o.given = given{rig: o.Rig != "", watch: len(o.Watch) > 0, chanmap: o.Map != ""}
	s, err := readSetup(o.Data)
	if err != nil {
		return err
	}
	if o.Rig == "" {
		o.Rig = s.Rig
	}
	if !o.given.watch {
		o.Watch = s.Watch
		if o.Map == "" && s.Map != "" {
			o.Map = filepath.Join(o.Data, s.Map)
		}
	}
	return nil
}

// given says what stood on the command line.
type given struct{ rig, watch, chanmap bool }

// mapPath is where the map of the screen lies below the data folder.
var mapPath = filepath.Join("maps", "rig.toml")

// saveSetup keeps what was set up, and has it hold at once.
func (p *parts) saveSetup(ctx context.Context, n desk.NewSetup) error {
	if p.o.given.watch || p.o.given.chanmap {
		return problem.New(problem.Conflict, "The folder or the channel map stands on the agent's command line, which goes before this screen.", "Start the agent without --watch and --map, then set it up here.")
	}
	folder, err := filepath.Abs(n.Folder)
	if err != nil {
		return notSaved(err)
	}
	n.Folder = folder
	if inside(n.Folder, p.o.Data) || inside(p.o.Data, n.Folder) {
		e := problem.New(problem.Invalid, "The agent keeps its data in "+p.o.Data+"; the folder that is watched must lie apart from it.", "Choose the folder that the acquisition writes to.")
		e.Where = "folder"
		return e
	}
	if !n.OldToo {
		if err := p.passOver(ctx, &n); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(filepath.Join(p.o.Data, "maps"), 0o755); err != nil {
		return notSaved(err)
	}
	path := filepath.Join(p.o.Data, mapPath)
	if err := durable.Replace(path, n.Map); err != nil {
		return notSaved(err)
	}
	s := setup{Rig: n.Rig, Watch: []string{n.Folder}, Map: mapPath}
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("write down the set-up: %w", err)
	}
	if err := durable.Replace(filepath.Join(p.o.Data, setupFile), b); err != nil {
		return notSaved(err)
	}
	if !p.o.given.rig {
		p.name.Store(&n.Rig)
		if err := p.stateRig(ctx); err != nil {
			return err
		}
	}
	return p.intake.Watch([]intake.Folder{{Dir: n.Folder, Map: path}}, path)
}

// passOver leaves the files that lie in the folder already where they are.
func (p *parts) passOver(ctx context.Context, n *desk.NewSetup) error {
	m, err := intake.ParseMap("rig.toml", n.Map)
	if err != nil {
		return notSaved(err)
	}
	passed, err := p.intake.PassOver(ctx, n.Folder, m.Map)
	if err != nil {
		return notSaved(err)
	}
	if passed > 0 {
		p.o.Log.Info("files that lay in the folder before it was watched are passed over", "folder", n.Folder, "files", passed)
	}
	return nil
}

func notSaved(err error) error {
	return &problem.Error{Code: problem.Unavailable, What: "The set-up could not be saved.", Fix: "See that the disk has room and that the agent may write into its data folder, then save again.", Err: err}
}

// rigName is what the rig is called now.
func (p *parts) rigName() string {
	if n := p.name.Load(); n != nil {
		return *n
	}
	return p.o.Rig
}
