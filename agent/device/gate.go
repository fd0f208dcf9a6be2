package device

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
)

// DefaultListen is where devices are answered.
const DefaultListen = ":8372"

// When devices are answered.
const (
	Auto = "auto" // from the first code on, and as long as a device is paired
	On   = "on"
	Off  = "off"
)

const (
	retryEvery = 15 * time.Second
	drain      = 10 * time.Second
)

type fromDevice struct{}

// Beside tells whether a request came over the devices' listener.
func Beside(r *http.Request) bool { return r.Context().Value(fromDevice{}) != nil }

// Gate is the listener for devices.
type Gate struct {
	Book   *Book
	Dir    string // data folder, for the certificate
	Listen string // HOST:PORT; without a host on every address
	When   string // Auto, On or Off
	Log    *slog.Logger

	want  chan struct{}
	mu    sync.Mutex
	l     net.Listener // nil: closed
	cert  tls.Certificate
	fault error
}

// NewGate checks what was set; the listener is opened by Run.
func NewGate(book *Book, dir, listen, when string, log *slog.Logger) (*Gate, error) {
	if listen == "" {
		listen = DefaultListen
	}
	if when == "" {
		when = Auto
	}
	if when != Auto && when != On && when != Off {
		return nil, problem.New(problem.Invalid, "“"+when+"” does not say when tablets and phones are answered.", "Write auto, on or off behind --devices.")
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil || port == "" {
		return nil, &problem.Error{Code: problem.Invalid, What: "The address for devices, " + listen + ", is not of the form HOST:PORT.", Fix: "Write --devices-listen as " + DefaultListen + ", or with an address of this computer as 192.0.2.7:8372.", Err: err}
	}
	if _, err := netip.ParseAddr(host); host != "" && err != nil {
		return nil, &problem.Error{Code: problem.Invalid, What: "The address for devices, " + listen + ", has a name in it.", Fix: "Write --devices-listen with an IP address of this computer, as 192.0.2.7:8372, or without any, as " + DefaultListen + ".", Err: err}
	}
	return &Gate{Book: book, Dir: dir, Listen: listen, When: when, Log: log, want: make(chan struct{}, 1)}, nil
}

// Open opens the listener if it is closed. It is answered from once Run runs.
func (g *Gate) Open() error {
	if g.When == Off {
		return problem.New(problem.Conflict, "Tablets and phones are switched off in the settings.", "Set devices to auto or on, and start the agent again.")
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.l != nil {
		return nil
	}
	g.fault = g.open()
	if g.fault == nil {
		g.Log.Info("tablets and phones are answered", "address", g.l.Addr().String(), "certificate", Fingerprint(&g.cert))
		select {
		case g.want <- struct{}{}:
		default:
		}
	}
	return g.fault
}

func (g *Gate) open() error {
	all, err := addresses(g.Listen)
	if err != nil {
		return err
	}
	if g.cert, err = Certificate(g.Dir, time.Now(), all); err != nil {
		return err
	}
	l, err := net.Listen("tcp", g.Listen)
	if err != nil {
		return &problem.Error{Code: problem.Unavailable, What: "Tablets and phones cannot be answered at " + g.Listen + ".",
			Fix: "See whether another program has this port, or choose another one with --devices-listen.", Err: err}
	}
	g.l = l
	return nil
}

// Run answers devices until ctx ends. What keeps the listener from opening is
// told on the screen, and tried again; it never ends the agent.
func (g *Gate) Run(ctx context.Context, h http.Handler) error {
	marked := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), fromDevice{}, true)))
	})
	defer g.close()
	for {
		if g.When == On || g.When == Auto && len(g.Book.List()) > 0 {
			if err := g.Open(); err != nil {
				g.Log.Warn("tablets and phones are not answered", "error", err)
			}
		}
		if l, cert := g.listener(); l != nil {
			err := httpkit.Serve(ctx, tls.NewListener(l, &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{cert}}), marked, drain)
			g.close()
			if ctx.Err() != nil {
				return err
			}
			g.Log.Warn("the listener for tablets and phones failed; it is opened again", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-g.want:
		case <-time.After(retryEvery):
		}
	}
}

func (g *Gate) listener() (net.Listener, tls.Certificate) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.l, g.cert
}

func (g *Gate) close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.l != nil {
		if err := g.l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			g.Log.Warn("close the listener for devices", "error", err)
		}
		g.l = nil
	}
}

// State is what the screen tells of the listener.
type State struct {
	Off         bool     // by the settings
	Addresses   []string // HOST:PORT under which it is reached; none: it is closed
	Fingerprint string
	Fault       error // why it could not be opened
}

// State is how it is now.
func (g *Gate) State() State {
	g.mu.Lock()
	defer g.mu.Unlock()
	s := State{Off: g.When == Off, Fault: g.fault}
	if g.l == nil {
		return s
	}
	s.Fingerprint = Fingerprint(&g.cert)
	_, port, err := net.SplitHostPort(g.l.Addr().String())
	all, err2 := addresses(g.Listen)
	if s.Fault = errors.Join(err, err2); s.Fault != nil {
		return s
	}
	for _, ip := range all {
		s.Addresses = append(s.Addresses, net.JoinHostPort(ip.String(), port))
	}
	return s
}

// addresses are those of this computer under which a listener is reached, the
// likely ones first: IPv4 before IPv6, the machine's own loopback left out.
func addresses(listen string) ([]net.IP, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return nil, err
	}
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() {
		return []net.IP{ip}, nil
	}
	found, err := net.InterfaceAddrs()
	if err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "The addresses of this computer cannot be found out.", Fix: "Name the one to use with --devices-listen.", Err: err}
	}
	var four, six []net.IP
	for _, a := range found {
		n, ok := a.(*net.IPNet)
		switch {
		case !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast():
		case n.IP.To4() != nil:
			four = append(four, n.IP)
		default:
			six = append(six, n.IP)
		}
	}
	if len(four)+len(six) == 0 {
		return nil, problem.New(problem.Unavailable, "This computer has no address in a network.", "Connect it to the network that the tablet or phone is in, and try again.")
	}
	return append(four, six...), nil
}
