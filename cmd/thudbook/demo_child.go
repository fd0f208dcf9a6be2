package main

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// child is one thudbook process of the demo; its log goes to a file.
type child struct {
	name string
	cmd  *exec.Cmd
	log  string
	addr string
	done chan struct{}
	err  error
}

// startChild runs this program again with other arguments and waits until it is ready.
func startChild(ctx context.Context, dir, name string, args ...string) (*child, error) {
	exe, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := &child{name: name, log: filepath.Join(dir, name+".log"), done: make(chan struct{})}
	logFile, err := os.Create(c.log)
	if err != nil {
		return nil, err
	}
	defer logFile.Close()
	listen := filepath.Join(dir, name+".address")
	c.cmd = exec.Command(exe, append(args, "--listen-file", listen)...)
	c.cmd.Stdout, c.cmd.Stderr = logFile, logFile
	ownGroup(c.cmd) // Ctrl-C reaches the demo alone, which stops its children in order
	if err := c.cmd.Start(); err != nil {
		return nil, err
	}
	go func() { c.err = c.cmd.Wait(); close(c.done) }()
	if err := c.ready(ctx, listen); err != nil {
		c.stop()
		return nil, err
	}
	return c, nil
}

// ready waits for the address file and a 200 from /readyz.
func (c *child) ready(ctx context.Context, listen string) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return fmt.Errorf("%s did not become ready: %w%s", c.name, ctx.Err(), c.tail())
		case <-c.done:
			return fmt.Errorf("%s ended at its start: %w%s", c.name, c.err, c.tail())
		case <-tick.C:
		}
		b, err := os.ReadFile(listen)
		if err != nil || len(bytes.TrimSpace(b)) == 0 {
			continue
		}
		c.addr = strings.TrimSpace(string(b))
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.url("/readyz"), nil)
		if err != nil {
			return err
		}
		if res, err := http.DefaultClient.Do(req); err == nil {
			_ = res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return nil
			}
		}
	}
}

// tail gives the end of the child's log, for an error.
func (c *child) tail() string {
	b, err := os.ReadFile(c.log)
	if err != nil || len(b) == 0 {
		return ""
	}
	return "\n" + string(b[max(0, len(b)-2000):])
}

func (c *child) url(path string) string { return "http://" + c.addr + path }

// stop asks the child to end, waits, and kills it only when it does not listen.
func (c *child) stop() {
	_ = c.cmd.Process.Signal(os.Interrupt)
	select {
	case <-c.done:
	case <-time.After(15 * time.Second):
		_ = c.cmd.Process.Kill()
		<-c.done
	}
}
