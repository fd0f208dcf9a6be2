package enrol

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/alarm"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// AlarmKeyReplaced says that an agent that lost its key came back with another.
const AlarmKeyReplaced = "key_replaced"

// book keeps alarms in the server-wide chain.
func (g *Registry) book() *alarm.Book {
	return &alarm.Book{Ledger: g.o.Ledger, Store: g.o.Store, Lab: func() record.LabID { return serverWide }, Now: g.o.Now}
}

// Alarm keeps a doubt about continuity as a fact, once for every chain and kind;
// one about a node, its keys or its clock once a day.
func (g *Registry) Alarm(ctx context.Context, a exchange.Alarm) error {
	name, lab := "an agent that is not on the list", a.Origin.Lab
	err := g.o.Store.View(ctx, func(r kv.Reader) error {
		n, ok, err := g.nodes.Get(r, a.Node[:])
		if err != nil {
			return err
		}
		if ok {
			name = "agent " + n.Name
		}
		if a.Origin == (record.Origin{}) && ok && len(n.Labs) > 0 {
			lab = n.Labs[0]
			return nil
		}
		lab, err = g.resolve(r, lab)
		return err
	})
	if err != nil {
		return err
	}
	subject := a.Origin.String()
	if a.Origin == (record.Origin{}) {
		subject = g.o.Now().UTC().Format(time.DateOnly)
	}
	_, err = g.book().Raise(ctx, alarm.Raised{Alarm: a.Kind, Subject: subject, Node: a.Node, Lab: lab, Text: words(&a, name)})
	return err
}

// Raise keeps an alarm of the server's own, once.
func (g *Registry) Raise(ctx context.Context, r alarm.Raised) (isNew bool, err error) {
	return g.book().Raise(ctx, r)
}

// Alarms gives the alarms of the labs of a scope, those that nobody has seen
// first.
func (g *Registry) Alarms(ctx context.Context, sc scope.Scope) ([]alarm.Alarm, error) {
	all, err := g.book().List(ctx)
	out := all[:0]
	for i := range all {
		if sc.Allows(all[i].Lab) {
			out = append(out, all[i])
		}
	}
	return out, err
}

// SeeAlarm notes who has seen an alarm of the scope's labs.
func (g *Registry) SeeAlarm(ctx context.Context, sc scope.Scope, id uuid.UUID, by string) error {
	return g.book().See(ctx, id, by, func(a *alarm.Alarm) bool { return sc.Allows(a.Lab) })
}

// words says what happened, that nothing is lost, and what to do.
func words(a *exchange.Alarm, name string) string {
	switch a.Kind {
	case exchange.AgentSetBack:
		return fmt.Sprintf("The data folder of %s was restored from a backup, emptied or copied: it knew %d of its own records, this server holds %d. It fetches them back and goes on in a new chain by itself. If a copy of it runs on another PC, stop that one.", name, a.There, a.Here)
	case exchange.TwoHistories:
		return fmt.Sprintf("Two histories came under the name of %s: its data folder was restored from a backup and used, or it runs on two PCs. Both are kept and every shot counts once. If there are two PCs, stop one, and enrol it again with a data folder and a code of its own.", name)
	case exchange.ServerSetBack:
		return fmt.Sprintf("This server was set back: it once acknowledged %d records of %s and held %d. The agents send again what they hold. Let every agent connect once, then compare the counts with what the agents show.", a.There, name, a.Here)
	case exchange.ServerGivenBack:
		return fmt.Sprintf("This server had lost records that it wrote itself; %s gave them back (it held %d of that chain, now %d). Look through what was changed here since the backup.", name, a.Here, a.There)
	case exchange.ChainClosed:
		return fmt.Sprintf("The records of %s go on in a new chain; the one before ends with record %d and is closed for ever. The agent's reason: %s. No record is lost by it; find out what happened to the agent's data folder or disk.", name, a.There, limited(a.Reason))
	case exchange.PeerRefused:
		return fmt.Sprintf("%s sent what no sound agent sends, and was refused; nothing of it was kept: %s Run “thudbook verify” on its data folder and update it. If its PC may be in wrong hands, withdraw it.", capital(name), limited(a.Reason))
	case exchange.OtherLab:
		return fmt.Sprintf("%s asked for something that is not its own, and was refused: %s If this comes again, find out what runs on its PC, and withdraw it if in doubt.", capital(name), limited(a.Reason))
	case exchange.Replayed:
		return fmt.Sprintf("A sign-in of %s came twice, word for word, and the second was refused: somebody reads what the agent sends. Nothing was read or written by it. See whether the way to this server is encrypted (https) and which machines stand in between, then change the agent's key.", name)
	case exchange.RevokedTried:
		return fmt.Sprintf("%s was withdrawn and tried to connect; it was refused. If the rig is still in use, enrol it again with a new code. If it was stolen, it is switched on somewhere.", capital(name))
	case exchange.WrongKey:
		return fmt.Sprintf("Somebody used the name of %s without its key, and was refused. After a change of key that was cut short this may be the agent itself, once. If it comes again, find out who else reaches this server.", name)
	case exchange.ClockFarOff:
		return fmt.Sprintf("The clock of %s is %s of this server's. Set the clock of its PC; what it recorded keeps its order, and the times of its shots can be corrected.", name, limited(a.Reason))
	}
	return fmt.Sprintf("A doubt about the records of %s: %s.", name, a.Kind)
}

// capital begins a sentence.
func capital(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
