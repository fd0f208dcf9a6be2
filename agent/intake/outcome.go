package intake

import (
	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// Status says what became of a submission.
type Status int

// The outcomes. Known: the same bytes came before under this name. SeenAgain:
// they came before under another name or at another time, and a person is asked.
const (
	Taken Status = iota
	Known
	SeenAgain
	Quarantined
)

// Outcome is the durable result of a submission.
type Outcome struct {
	Status   Status
	ID       uuid.UUID // of the shot, or of the quarantine entry
	Sighting uuid.UUID // of the question, when SeenAgain
	Score    *lab.Score
	Error    *lab.Fault // what could not be read; with Taken the rest was
	New      bool       // a record was written for it

	kind   string       // of a shot taken in
	settle *view.Source // quarantine entry of another lab that this shot settles
}

// remember writes the seen list of the folder, in the same transaction.
func (in *Intake) remember(tx kv.Tx, s *Submission, out Outcome) error {
	if s.folder == nil {
		return nil
	}
	if s.meta != nil {
		if err := putSeen(tx, s.folder.dir, &seenEntry{Name: s.meta.name, Size: s.meta.size, ModNS: s.meta.mod.UnixNano(), ID: out.ID, Meta: true}); err != nil {
			return err
		}
	}
	return putSeen(tx, s.folder.dir, s.seen(out))
}

func (s *Submission) seen(out Outcome) *seenEntry {
	e := &seenEntry{Name: s.Name, Size: s.Ref.Size, ModNS: s.ModTime.UnixNano(), Hash: s.Ref.SHA256[:], ID: out.ID, Taken: out.Status != Quarantined}
	if out.Status == Quarantined {
		e.MapHash = mapHash(s.Map)
	}
	return e
}

// dealtWith keeps the list in memory like the one in the store. It runs in the
// folder's own goroutine.
func (f *folder) dealtWith(s *Submission, out Outcome) {
	f.known.add(s.seen(out))
	if s.meta != nil {
		f.known.add(&seenEntry{Name: s.meta.name, Size: s.meta.size, ModNS: s.meta.mod.UnixNano()})
	}
}

// report counts and logs an outcome.
func (in *Intake) report(s *Submission, out Outcome) {
	log := in.opt.Log.With("file", s.Name, "id", out.ID, "sha256", s.Ref.SHA256.String(), "bytes", s.Ref.Size)
	switch out.Status {
	case Taken:
		in.taken.Add(1)
		if in.opt.Taken != nil {
			in.opt.Taken(out.kind)
		}
		if out.Error != nil {
			in.partly.Add(1)
			log.Warn("shot taken in, a part of it cannot be read", faultArgs(out.Error)...)
		} else {
			log.Info("shot taken in")
		}
	case Known:
		in.known.Add(1)
		log.Debug("the same bytes came before")
	case SeenAgain:
		in.again.Add(1)
		log.Info("seen again: the same shot, or a stroke to count?", "sighting", out.Sighting)
	case Quarantined:
		if out.New {
			in.quarantined.Add(1)
			log.Warn("nothing in the file can be read; it is kept in quarantine", append(faultArgs(out.Error), "path", s.Path)...)
		}
	}
	if out.New {
		in.recorded()
	}
}

func faultArgs(f *lab.Fault) []any {
	return []any{"code", f.Code, "what", f.What, "line", f.Line, "column", f.Column, "channel", f.Channel, "fix", f.Fix}
}
