//go:build linux

package crashimage

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"time"
)

// question is a line that a judging process is asked.
type question struct {
	Dir   string
	Acked int
}

// Judge answers questions until its input ends: it is the body of the process
// that opens images. The acknowledgements lie in a file.
func Judge(ctx context.Context, ackFile string, in io.Reader, out io.Writer) error {
	acks, err := readAcks(ackFile)
	if err != nil {
		return err
	}
	lines := json.NewDecoder(in)
	for {
		var q question
		if err := lines.Decode(&q); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		answer := ""
		if err := judge(ctx, q.Dir, acks[:q.Acked]); err != nil {
			answer = err.Error()
		}
		if err := json.NewEncoder(out).Encode(answer); err != nil {
			return err
		}
	}
}

func readAcks(path string) ([]ack, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // it was read only
	var all []ack
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		a, err := parseAck(lines.Text())
		if err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, lines.Err()
}

// limit is how long opening one image may take: it hangs, it is not slow.
const limit = 2 * time.Minute

// judging is a running judge.
type judging struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Reader
}

// ask gives what is wrong with an image, and starts the judge again if the
// image killed it or made it hang.
func (r *Run) ask(ctx context.Context, j **judging, q question) error {
	if *j == nil {
		if err := r.startJudge(ctx, j); err != nil {
			return err
		}
	}
	hung := time.AfterFunc(limit, func() { _ = (*j).cmd.Process.Kill() })
	defer hung.Stop()
	err := json.NewEncoder((*j).in).Encode(q)
	var answer string
	if err == nil {
		var line []byte
		if line, err = (*j).out.ReadBytes('\n'); err == nil {
			err = json.Unmarshal(line, &answer)
		}
	}
	if err != nil {
		bad := *j
		*j = nil
		_ = bad.in.Close()
		return fmt.Errorf("the image kills the process that opens it, or makes it hang: %w, %v", err, bad.cmd.Wait())
	}
	if answer != "" {
		return errors.New(answer)
	}
	return nil
}

func (r *Run) startJudge(ctx context.Context, j **judging) error {
	cmd := r.o.Judge(ctx, r.acks)
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	*j = &judging{cmd: cmd, in: in, out: bufio.NewReader(out)}
	return nil
}

func (j *judging) end() error {
	if j == nil {
		return nil
	}
	return errors.Join(j.in.Close(), j.cmd.Wait())
}
