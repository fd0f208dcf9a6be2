package intake

import (
	"cmp"
	"context"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// shot makes the shot and score records; b says kind, meta and time.
func (in *Intake) shot(ctx context.Context, s *Submission, d *decision, b *lab.Shot) error {
	b.Kind = cmp.Or(b.Kind, lab.ShotHit)
	d.kind = b.Kind
	b.Rig, b.FileName, b.FileTime = in.opt.Rig, s.fileName(), fileTime(s.ModTime)
	b.SourceSHA256, b.MapSHA256 = s.Ref.SHA256, s.mapSum()
	s.continues(b)
	if d.bound != nil {
		b.MetaTyped = d.bound.typed
	}
	shot, err := draft(d.id, b)
	if err == nil && len(shot.Body) > maxBody {
		s.notes = append(s.notes, note{lab.FlagMetaUnreadable, "the meta that came with the file is too long for a record and is kept beside it"})
		s.badMeta, b.Meta, b.MetaTyped = true, lab.Meta{}, nil
		shot, err = draft(d.id, b)
	}
	if err != nil {
		return err
	}
	if in.opt.Author != nil {
		shot.Author = cmp.Or(in.opt.Author(ctx), shot.Author)
	}
	shot.Attachments = []record.Attachment{s.attachment()}
	if s.Map != nil {
		a, err := in.mapAttachment(ctx, s.Map)
		if err != nil {
			return err
		}
		shot.Attachments = append(shot.Attachments, a)
	}
	if s.badMeta {
		ref, err := in.opt.Blobs.Put(ctx, strings.NewReader(string(s.Meta)), maxMetaBytes+1)
		if err != nil {
			return err
		}
		shot.Attachments = append(shot.Attachments, record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: RoleMeta, Media: "application/json"})
	}
	result, err := scoreDraft(d.score, s.notes)
	d.drafts = []ledger.Draft{shot, result}
	if err == nil && d.bound != nil {
		var settled ledger.Draft
		settled, err = d.bound.settle(d.id)
		d.drafts = append(d.drafts, settled)
	}
	return err
}

// maxBody leaves room for the envelope and its attachments.
const maxBody = record.MaxBytes - 8<<10

// scoreDraft adds the flags of taking in. Where the score would not fit into a
// record, what can be computed again from the stored bytes is left out: a shot
// is not lost to the length of its remarks.
func scoreDraft(b *lab.Score, notes []note) (ledger.Draft, error) {
	b.Flags = append(flagsOf(notes), b.Flags...)
	b.Flags = b.Flags[:min(len(b.Flags), lab.MaxFlags)]
	dr, err := draft(b.Shot, b)
	for _, shorten := range []func(){
		func() { b.GuessedMap = "" },
		func() { b.Faults = nil },
		func() {
			b.Flags = append(b.Flags[:min(len(b.Flags), 20):20], lab.Flag{Code: lab.FlagFlagsCut, Text: "further flags are left out here; scoring the file again shows them"})
		},
		func() { b.Processing = nil },
	} {
		if err != nil || len(dr.Body) <= maxBody {
			break
		}
		shorten()
		dr, err = draft(b.Shot, b)
	}
	return dr, err
}

func flagsOf(notes []note) (out []lab.Flag) {
	for _, n := range notes {
		out = append(out, lab.Flag{Code: n.code, Text: clip(n.text, 500)})
	}
	return out
}

// quarantine makes the record of bytes in which nothing can be read.
func (in *Intake) quarantine(s *Submission, d *decision) error {
	q, err := draft(d.id, &lab.Quarantine{Rig: in.opt.Rig, FileName: s.fileName(), FileTime: fileTime(s.ModTime), Size: s.Ref.Size,
		SourceSHA256: s.Ref.SHA256, Error: *d.fault})
	if err != nil {
		return err
	}
	if !s.lost {
		q.Attachments = []record.Attachment{s.attachment()}
	}
	d.drafts = []ledger.Draft{q}
	return nil
}

func (s *Submission) attachment() record.Attachment {
	return record.Attachment{SHA256: s.Ref.SHA256, Size: s.Ref.Size, Role: lab.RoleSource, Media: "application/octet-stream", Name: clipBytes(s.fileName(), 255)}
}

func (s *Submission) mapSum() record.Hash {
	if s.Map == nil {
		return record.Hash{}
	}
	return s.Map.Hash
}

// mapAttachment stores a map once.
func (in *Intake) mapAttachment(ctx context.Context, m *Map) (record.Attachment, error) {
	in.mu.Lock()
	a, ok := in.mapBlobs[m.Hash]
	in.mu.Unlock()
	if ok {
		return a, nil
	}
	ref, err := in.opt.Blobs.Put(ctx, strings.NewReader(string(m.Bytes)), maxMapBytes)
	if err != nil {
		return a, err
	}
	a = record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleMap, Media: "application/toml", Name: clipBytes(recordName(m.Name), 255)}
	in.mu.Lock()
	in.mapBlobs[m.Hash] = a
	in.mu.Unlock()
	return a, nil
}
