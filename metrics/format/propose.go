package format

import (
	"context"
	"fmt"
	"io"

	"thudbook/metrics/chanmap"
)

// ProposeMap is Propose with a window for the baseline, found in the record as
// the proposed map reads it; open gives the file anew each time. A window that
// cannot be found is one more sentence of unsure.
func ProposeMap(ctx context.Context, open func() (io.ReadCloser, error)) (m chanmap.Map, unsure []string, err error) {
	f, err := open()
	if err != nil {
		return m, nil, err
	}
	defer f.Close()
	if m, unsure, err = Propose(ctx, f); err != nil || len(m.Channels) == 0 {
		return m, unsure, err
	}
	var said string
	m.Processing.BaselineMS, said = baseline(ctx, m, open)
	return m, append(unsure, said), nil
}

// baseline reads the record by the proposed map and proposes a window.
func baseline(ctx context.Context, m chanmap.Map, open func() (io.ReadCloser, error)) (ms float64, said string) {
	f, err := open()
	if err != nil {
		return 0, noBaseline(err)
	}
	defer f.Close()
	got, err := Read(ctx, f, Options{Map: &m})
	if err != nil {
		return 0, noBaseline(err)
	}
	return chanmap.GuessBaseline(&got.Recording)
}

func noBaseline(err error) string {
	return fmt.Sprintf("No baseline_ms is proposed: the record cannot be read by this map (%v). Set processing.baseline_ms to the milliseconds at rest before the impact.", err)
}
