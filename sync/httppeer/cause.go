package httppeer

import (
	"errors"
	"net"
	"syscall"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
)

// Cause is the kind of trouble that keeps an exchange from going on, for
// programs; the words for people stand in the problem itself. Causes are shown
// by the API: add, never rename.
type Cause string

// The causes, by what a technician looks at first.
const (
	NoRoute       Cause = "no_route"         // cable, Wi-Fi, gateway
	NameUnknown   Cause = "name_unknown"     // DNS, or a slip in the address
	NotListening  Cause = "not_listening"    // the server's program, its port, a firewall
	Silent        Cause = "silent"           // no answer in time
	Broken        Cause = "broken"           // the connection broke
	Certificate   Cause = "certificate"      // TLS: authority, name, dates, or no TLS at all
	AnotherServer Cause = "another_server"   // its key is not the pinned one
	AnotherAnswer Cause = "another_answer"   // a sign-in page or another program
	Busy          Cause = "busy"             // the server asks to wait
	ServerFull    Cause = "server_disk_full" // free space on the server
	Unknown       Cause = "not_enrolled"     // the server does not know this agent
	Withdrawn     Cause = "withdrawn"        // an administrator took its rights
	Forked        Cause = "forked"           // restored or copied data folder
	Damage        Cause = "damaged"          // stored bytes are not what was written
	Other         Cause = "other"
)

// errSomebodyElse marks the answers of other machines.
var errSomebodyElse = errors.New("not the server's answer")

// CauseOf tells the cause of an error of a session; "" for none.
func CauseOf(err error) Cause {
	if err == nil {
		return ""
	}
	if c := networkCause(err); c != "" {
		return c
	}
	if exchange.WaitOf(err) > 0 {
		return Busy
	}
	switch problem.Of(err) {
	case problem.NoSpace:
		return ServerFull
	case problem.Forbidden:
		return Withdrawn
	case problem.Unauthenticated:
		if exchange.IsAnotherServer(err) {
			return AnotherServer
		}
		return Unknown
	case problem.Forked:
		return Forked
	case problem.Damaged:
		return Damage
	}
	return Other
}

func networkCause(err error) Cause {
	if _, ok := errors.AsType[*net.DNSError](err); ok {
		return NameUnknown
	}
	if _, _, ok := tlsWords(err); ok {
		return Certificate
	}
	switch {
	case errors.Is(err, errSomebodyElse) && exchange.WaitOf(err) == 0:
		return AnotherAnswer
	case errors.Is(err, syscall.ECONNREFUSED):
		return NotListening
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH):
		return NoRoute
	case isTimeout(err):
		return Silent
	}
	if _, ok := errors.AsType[*net.OpError](err); ok || errors.Is(err, syscall.ECONNRESET) {
		return Broken
	}
	return ""
}
