package score_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/score"
)

// failing gives its bytes and then an error.
type failing struct {
	io.Reader
	err error
}

func (f failing) Read(p []byte) (int, error) {
	n, err := f.Reader.Read(p)
	if errors.Is(err, io.EOF) {
		err = f.err
	}
	return n, err
}

func TestBrokenSource(t *testing.T) {
	cause := errors.New("the disk went away")
	rep := score.Score(t.Context(), failing{strings.NewReader(newShot().csv()[:5000]), cause}, score.Options{Map: shotMap()})
	checkReport(t, rep)
	if rep.Error == nil || rep.Error.Code != fault.Unreadable || !errors.Is(rep.Error, cause) || len(rep.Results) > 0 {
		t.Errorf("error %+v with %d results, want %s because of the cause", rep.Error, len(rep.Results), fault.Unreadable)
	}
}

func TestCancelled(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	rep := score.Score(ctx, strings.NewReader(newShot().csv()), score.Options{Map: shotMap()})
	checkReport(t, rep)
	if rep.Error == nil || rep.Error.Code != score.Cancelled || len(rep.Results) > 0 {
		t.Errorf("error %+v with %d results, want %s", rep.Error, len(rep.Results), score.Cancelled)
	}
}

// panicking is a source with a mistake in it.
type panicking struct{}

func (panicking) Read([]byte) (int, error) { panic("mistake") }

func TestPanicBecomesInternal(t *testing.T) {
	rep := score.Score(t.Context(), panicking{}, score.Options{})
	if rep.Error == nil || rep.Error.Code != score.Internal || rep.Detail.Cause == nil || !strings.Contains(rep.Detail.Cause.Error(), "mistake") {
		t.Errorf("error %+v, cause %v", rep.Error, rep.Detail.Cause)
	}
	if strings.Contains(rep.Error.What, "mistake\n") || strings.Contains(rep.Error.Error(), "goroutine") {
		t.Errorf("the sentence for people holds the trace: %v", rep.Error)
	}
}
