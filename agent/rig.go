package agent

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// rigID derives the id of the rig from that of the node: one agent stands at
// one rig, and the id is the same before and after the agent is enrolled.
func rigID(node record.NodeID) uuid.UUID { return uuid.NewSHA1(node, []byte("rig")) }

// stateRig writes the rig down in the lab that shots are recorded for, once,
// and its new name when that changed.
func (p *parts) stateRig(ctx context.Context) error {
	of := p.uplink.Lab()
	row, err := p.home.Reader.Rig(ctx, scope.Labs(of), p.rig)
	var b lab.Body
	switch {
	case problem.Of(err) == problem.NotFound:
		b = &lab.Rig{Name: p.rigName()}
	case err != nil:
		return err
	case row.Rig.Name == p.rigName() || row.Edited["name"].Author != "" && row.Edited["name"].Author != "node":
		return nil // a person's name for it holds
	default:
		if b, err = lab.NewEdit(p.rig, lab.KindRig, "name", p.rigName(), row.Base("name")...); err != nil {
			return err
		}
	}
	kind, schema, body, err := lab.Encode(b)
	if err != nil {
		return err
	}
	_, err = p.home.Ledger.Append(ctx, of, ledger.Draft{Kind: kind, Schema: schema, Author: "node", UID: p.rig, Body: body})
	return err
}
