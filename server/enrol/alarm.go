package enrol

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// KindContinuity is a doubt about a chain, in the server-wide chain; its UID is
// the node.
const KindContinuity record.Kind = "node.continuity"

// Continuity is the body of KindContinuity.
type Continuity struct {
	Alarm  string        `json:"alarm"` // one of the alarms of package exchange
	Node   record.NodeID `json:"node"`  // whose session showed it
	Writer record.NodeID `json:"writer"`
	Lab    record.LabID  `json:"lab"`
	Epoch  uint32        `json:"epoch"`
	Here   uint64        `json:"here"`
	There  uint64        `json:"there"`
	Reason string        `json:"reason,omitempty"`
}

// alarmRow keeps the first time of an alarm about a chain.
type alarmRow struct {
	Continuity
	AtMS int64 `json:"at_ms"`
}

func alarmTable() index.Table[alarmRow] {
	return index.Table[alarmRow]{Name: "enrol.alarm", Key: func(a *alarmRow) []byte {
		return kv.Join(kv.Str(a.Alarm), a.Node[:], a.Writer[:], a.Lab[:], kv.U32(a.Epoch))
	}}
}

// Alarm keeps a doubt about continuity as a fact, once for every chain and kind.
func (g *Registry) Alarm(ctx context.Context, a exchange.Alarm) error {
	row := alarmRow{AtMS: g.o.Now().UnixMilli(), Continuity: Continuity{Alarm: a.Kind, Node: a.Node, Writer: a.Origin.Node, Lab: a.Origin.Lab,
		Epoch: a.Origin.Epoch, Here: a.Here, There: a.There, Reason: limited(a.Reason)}}
	_, err := g.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		_, known, err := g.alarms.Get(tx, g.alarms.Key(&row))
		if err != nil || known {
			return nil, err
		}
		if err := g.alarms.Put(tx, &row); err != nil {
			return nil, err
		}
		d, err := draft(KindContinuity, uuid.UUID(a.Node), "node", row.Continuity)
		return []ledger.Draft{d}, err
	})
	return err
}

// Alarm as people read it.
type Alarm struct {
	At   time.Time
	Node record.NodeID
	Lab  record.LabID // the real one
	Kind string
	Text string
}

// Alarms gives the doubts about continuity in labs of a scope since a moment,
// the newest first.
func (g *Registry) Alarms(ctx context.Context, sc scope.Scope, since time.Time) ([]Alarm, error) {
	var out []Alarm
	err := g.o.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for a, err := range g.alarms.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			real, err := g.resolve(r, a.Lab)
			if err != nil {
				return err
			}
			if a.AtMS < since.UnixMilli() || !sc.Allows(real) {
				continue
			}
			name := "an agent that is not on the list"
			if n, ok, err := g.nodes.Get(r, a.Node[:]); err != nil {
				return err
			} else if ok {
				name = "agent " + n.Name
			}
			out = append(out, Alarm{At: moment(a.AtMS), Node: a.Node, Lab: real, Kind: a.Alarm, Text: a.words(name)})
		}
		return nil
	})
	slices.SortFunc(out, func(a, b Alarm) int { return cmp.Or(b.At.Compare(a.At), cmp.Compare(a.Text, b.Text)) })
	return out, err
}

// words says what happened, that nothing is lost, and what to do.
func (c *Continuity) words(name string) string {
	switch c.Alarm {
	case exchange.AgentSetBack:
		return fmt.Sprintf("The data folder of %s was restored from a backup, emptied or copied: it knew %d of its own records, this server holds %d. It fetches them back and goes on in a new chain by itself. If a copy of it runs on another PC, stop that one.", name, c.There, c.Here)
	case exchange.TwoHistories:
		return fmt.Sprintf("Two histories came under the name of %s: its data folder was restored from a backup and used, or it runs on two PCs. Both are kept and every shot counts once. If there are two PCs, stop one, and enrol it again with a data folder and a code of its own.", name)
	case exchange.ServerSetBack:
		return fmt.Sprintf("This server was set back: it once acknowledged %d records of %s and held %d. The agents send again what they hold. Let every agent connect once, then compare the counts with what the agents show.", c.There, name, c.Here)
	case exchange.ServerGivenBack:
		return fmt.Sprintf("This server had lost records that it wrote itself; %s gave them back (it held %d of that chain, now %d). Look through what was changed here since the backup.", name, c.Here, c.There)
	case exchange.ChainClosed:
		return fmt.Sprintf("The records of %s go on in a new chain; the one before ends with record %d and is closed for ever. The agent's reason: %s. No record is lost by it; find out what happened to the agent's data folder or disk.", name, c.There, c.Reason)
	}
	return fmt.Sprintf("A doubt about the records of %s: %s.", name, c.Alarm)
}
