package wire

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The two ends, in the block that RFC 5737 keeps for examples.
const (
	agentIP  = "192.0.2.1"
	serverIP = "192.0.2.2"
)

// shape is what a line does to what goes over it, in each direction.
type shape struct {
	kbit  int           // rate; frames wait in a short queue, and are dropped when it is full
	loss  int           // percent of the packets, at random
	flap  time.Duration // the line is taken away once in this time, for a quarter of it; 0: never
	bytes int           // of the backlog; 0: what takes ten seconds
}

func (s shape) String() string {
	text := fmt.Sprintf("%d kbit/s, %d %% loss", s.kbit, s.loss)
	if s.flap > 0 {
		text += fmt.Sprintf(", a break every %v", s.flap)
	}
	return text
}

// line is a pair of network namespaces with one cable.
type line struct {
	t    *testing.T
	a, b string // namespaces, and their interfaces
}

// full says that everything is wanted (make wire).
func full() bool { return os.Getenv("THUDBOOK_WIRE") != "" }

// newLine lays a line. Nobody but root may; for others the quick set is left out
// with the reason, and the whole of it fails.
func newLine(t *testing.T) *line {
	t.Helper()
	l := &line{t: t, a: fmt.Sprintf("thuda%d", os.Getpid()), b: fmt.Sprintf("thudb%d", os.Getpid())}
	if os.Getuid() != 0 {
		if full() {
			t.Fatal("network namespaces need root")
		}
		t.Skip("NOT CHECKED: network namespaces need root")
	}
	for _, tool := range []string{"ip", "tc", "iptables"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("%s is not installed; .ci/need does it", tool)
		}
	}
	for _, ns := range []string{l.a, l.b} {
		if out, err := exec.Command("ip", "netns", "add", ns).CombinedOutput(); err != nil {
			t.Fatalf("no network namespaces here: %s", out)
		}
		t.Cleanup(func() { l.run("ip", "netns", "del", ns) })
		l.in(ns, "ip", "link", "set", "lo", "up")
	}
	l.in(l.a, "ip", "link", "add", l.a, "type", "veth", "peer", "name", l.b, "netns", l.b)
	for ns, ip := range map[string]string{l.a: agentIP, l.b: serverIP} {
		l.in(ns, "ip", "addr", "add", ip+"/24", "dev", ns)
		l.in(ns, "ip", "link", "set", ns, "gso_max_segs", "1") // one packet is one frame
		l.in(ns, "ip", "link", "set", ns, "up")
	}
	return l
}

func (l *line) run(words ...string) {
	l.t.Helper()
	if out, err := exec.Command(words[0], words[1:]...).CombinedOutput(); err != nil {
		l.t.Fatalf("%s: %v\n%s", strings.Join(words, " "), err, out)
	}
}

func (l *line) in(ns string, words ...string) {
	l.t.Helper()
	l.run(append([]string{"ip", "netns", "exec", ns}, words...)...)
}

// set gives the line a shape; breaks are the caller's.
func (l *line) set(s shape) {
	l.t.Helper()
	burst := max(2*1514, s.kbit*1000/8/100)
	limit := max(10*1514, s.kbit*1000/8/2)
	for _, ns := range []string{l.a, l.b} {
		l.in(ns, "tc", "qdisc", "replace", "dev", ns, "root", "tbf", "rate", fmt.Sprintf("%dkbit", s.kbit),
			"burst", strconv.Itoa(burst), "limit", strconv.Itoa(limit))
		l.in(ns, "iptables", "-F", "INPUT")
		if s.loss > 0 {
			l.in(ns, "iptables", "-A", "INPUT", "-i", ns, "-m", "statistic", "--mode", "random",
				"--probability", fmt.Sprintf("%.3f", float64(s.loss)/100), "-j", "DROP")
		}
	}
}

// up joins the ends, or takes them apart.
func (l *line) up(up bool) {
	l.t.Helper()
	word := map[bool]string{true: "up", false: "down"}[up]
	l.in(l.a, "ip", "link", "set", l.a, word)
}

// breaks takes the line away again and again until stop is called.
func (l *line) breaks(every time.Duration) (stop func() int) {
	if every <= 0 {
		return func() int { return 0 }
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended, n := make(chan struct{}), 0
	go func() {
		defer close(ended)
		for tick := time.NewTicker(every); ; {
			select {
			case <-ctx.Done():
				tick.Stop()
				return
			case <-tick.C:
			}
			_ = exec.Command("ip", "netns", "exec", l.a, "ip", "link", "set", l.a, "down").Run()
			time.Sleep(every / 4) // the break itself
			_ = exec.Command("ip", "netns", "exec", l.a, "ip", "link", "set", l.a, "up").Run()
			n++
		}
	}()
	return func() int { cancel(); <-ended; l.up(true); return n }
}

// sent gives the bytes of all frames in both directions, repeated ones and headers included.
func (l *line) sent() int64 {
	l.t.Helper()
	var sum int64
	for _, ns := range []string{l.a, l.b} {
		out, err := exec.Command("ip", "netns", "exec", ns, "cat", filepath.Join("/sys/class/net", ns, "statistics/tx_bytes")).Output()
		if err != nil {
			l.t.Fatal(err)
		}
		n, err := strconv.ParseInt(strings.TrimSpace(string(out)), 10, 64)
		if err != nil {
			l.t.Fatal(err)
		}
		sum += n
	}
	return sum
}

// dial connects from within a namespace.
func dial(ns string) func(ctx context.Context, network, address string) (net.Conn, error) {
	return func(ctx context.Context, network, address string) (conn net.Conn, err error) {
		done := make(chan struct{})
		go func() {
			defer close(done)
			runtime.LockOSThread() // and never unlocked: the thread ends with this function
			var f *os.File
			if f, err = os.Open("/run/netns/" + ns); err != nil {
				return
			}
			defer f.Close()
			if err = unix.Setns(int(f.Fd()), unix.CLONE_NEWNET); err != nil {
				return
			}
			conn, err = (&net.Dialer{}).DialContext(ctx, network, address)
		}()
		<-done
		return conn, err
	}
}
