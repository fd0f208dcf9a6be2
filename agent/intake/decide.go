package intake

import (
	"errors"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// decide runs inside the transaction, perhaps more than once. What is already
// known of the bytes is read here, so that two arrivals at once make one shot.
func (in *Intake) decide(tx kv.Tx, s *Submission, d *decision) (Outcome, []ledger.Draft, error) {
	src, found, err := in.opt.Views.FindSource(tx, scope.All(), s.Ref.SHA256)
	if err != nil {
		return Outcome{}, nil, err
	}
	switch {
	case src.Shot != uuid.Nil:
		return in.decideKnown(tx, s, src)
	case d == nil:
		return Outcome{}, nil, errors.New("a shot vanished from the views between two reads")
	case d.fault != nil && found: // kept already
		return Outcome{Status: Quarantined, ID: src.Quarantine, Error: d.fault}, nil, in.noteCopy(tx, s, src)
	case d.fault != nil:
		return Outcome{Status: Quarantined, ID: d.id, Error: d.fault, New: true}, d.drafts, nil
	}
	if d.bound != nil {
		if err := in.stillOpen(tx, d.bound); err != nil {
			return Outcome{}, nil, err
		}
	}
	drafts, out := d.drafts, Outcome{Status: Taken, ID: d.id, Score: d.score, Error: d.score.Error, New: true, kind: d.kind}
	if found && src.Lab != in.opt.Lab() {
		out.settle = &src
	} else if found { // in quarantine until now
		dr, err := settled(src.Quarantine, d.id)
		if err != nil {
			return Outcome{}, nil, err
		}
		drafts = append(drafts[:len(drafts):len(drafts)], dr)
	}
	return out, drafts, nil
}

// settled says that quarantined bytes became a shot after all.
func settled(quarantine, shot uuid.UUID) (ledger.Draft, error) {
	return draft(quarantine, &lab.QuarantineSettled{Quarantine: quarantine, Shot: shot, Reason: "read with another channel map"})
}

// decideKnown tells the file that came before, seen once more, from the same
// bytes under another name or time. A time that is not known is no other time.
func (in *Intake) decideKnown(tx kv.Tx, s *Submission, src view.Source) (Outcome, []ledger.Draft, error) {
	name, at := s.fileName(), fileTime(s.ModTime)
	if src.FileName == name && (src.FileTime == at || src.FileTime == 0 || at == 0) {
		return Outcome{Status: Known, ID: src.Shot}, nil, nil
	}
	noted, err := in.opt.Views.KnownSighting(tx, scope.All(), src.Shot, name, at)
	if err != nil || noted {
		return Outcome{Status: SeenAgain, ID: src.Shot}, nil, err
	}
	effective, _, _ := in.effective(s, &lab.Meta{})
	id := uuid.New()
	dr, err := draft(id, &lab.Sighting{Shot: src.Shot, Rig: in.opt.Rig, FileName: name, FileTime: at, Size: s.Ref.Size, EffectiveAt: effective})
	return Outcome{Status: SeenAgain, ID: src.Shot, Sighting: id, New: true}, []ledger.Draft{dr}, err
}
