package agent

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"

	"thudbook/sync/problem"
)

// loopbackOnly refuses addresses that other machines can reach: the screens
// ask for no sign-in.
func loopbackOnly(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return &problem.Error{Code: problem.Invalid, What: "The address " + addr + " is not of the form HOST:PORT.", Fix: "Write it as " + DefaultListen + ".", Err: err}
	}
	if host == "localhost" {
		return nil
	}
	if ip, err := netip.ParseAddr(host); err == nil && ip.IsLoopback() {
		return nil
	}
	return problem.New(problem.Invalid, "The agent's screens ask for no sign-in, so they are offered on this machine only; "+addr+" is no loopback address.",
		"Use 127.0.0.1, ::1 or localhost, and look at the server's screens from elsewhere.")
}

func listen(addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "The address " + addr + " cannot be used.",
			Fix: "See whether another agent runs on this machine, or choose another port with --listen.", Err: err}
	}
	// localhost may have been resolved to anything.
	if a, ok := l.Addr().(*net.TCPAddr); ok && !a.IP.IsLoopback() {
		return nil, errors.Join(loopbackOnly(l.Addr().String()), l.Close())
	}
	return l, nil
}

// announce says that shots can be taken in.
func (p *parts) announce(addr string) error {
	if p.o.Out != nil {
		if _, err := fmt.Fprintf(p.o.Out, "Thudbook agent of %s: http://%s/\n", p.o.Rig, addr); err != nil {
			return fmt.Errorf("print the address: %w", err)
		}
	}
	p.o.Log.Info("ready", "address", addr, "data", p.o.Data, "watch", p.o.Watch, "node", p.home.Node)
	if p.o.ListenFile == "" {
		return nil
	}
	part := p.o.ListenFile + ".part"
	if err := os.WriteFile(part, []byte(addr+"\n"), 0o644); err != nil {
		return fmt.Errorf("write the listen file: %w", err)
	}
	return os.Rename(part, p.o.ListenFile)
}
