package uplink

import "thudbook/sync/httppeer"

// The alarms that an exchange raises on the side that asks; programs know them,
// so they are never renamed.
const (
	AlarmServerKey = "another_server"   // who answers has not the pinned key
	AlarmWithdrawn = "withdrawn"        // the server takes nothing from this node any more
	AlarmUnknown   = "not_enrolled"     // the server does not know this node's key
	AlarmDamage    = "damaged"          // the exchange met bytes that are not what was written
	AlarmFull      = "server_disk_full" // the server has no room
)

// AlarmOf tells which troubles of the exchange do not pass by themselves; empty:
// this one does.
func AlarmOf(c httppeer.Cause) string {
	switch c {
	case httppeer.AnotherServer:
		return AlarmServerKey
	case httppeer.Withdrawn:
		return AlarmWithdrawn
	case httppeer.Unknown:
		return AlarmUnknown
	case httppeer.Damage:
		return AlarmDamage
	case httppeer.ServerFull:
		return AlarmFull
	}
	return ""
}
