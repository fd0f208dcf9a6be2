package agent

import (
	"context"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"thudbook/agent/intake"
	"thudbook/sync/uplink"
	"thudbook/sync/view"
	"thudbook/web/telemetry"
)

// watchFigures adds the agent's own figures to the set.
func (p *parts) watchFigures(s *telemetry.Set) {
	link := &cached[uplink.State]{read: p.uplink.State}
	counts := &cached[view.LabRow]{read: p.counts}
	s.Watch(telemetry.Sources{
		StoreBytes:     func() float64 { return float64(p.home.Store.Stats().FileBytes) },
		BlobBytes:      func() float64 { return float64(p.size.attachments.Load()) },
		DiskFreeBytes:  func() float64 { free, _ := intake.DiskFree(p.o.Data); return float64(free) },
		PendingRecords: func() float64 { return float64(link.get().PendingRecords) },
		OldestPending: func() time.Duration {
			if at := link.get().OldestPendingSince; !at.IsZero() {
				return time.Since(at)
			}
			return 0
		},
		LastExchange: func() time.Time { return link.get().LastExchange },
		Quarantine:   func() float64 { return float64(counts.get().Quarantine) },
		ToAssign:     func() float64 { return float64(counts.get().ToAssign) },
	})
	s.Registry().MustRegister(&figures{p: p})
}

// counts sums the lists of all labs in the store.
func (p *parts) counts(ctx context.Context) (sum view.LabRow, err error) {
	labs, err := p.home.Reader.Labs(ctx, p.home.Own(), 0)
	for _, l := range labs {
		sum.Quarantine += l.Quarantine
		sum.ToAssign += l.ToAssign
	}
	return sum, err
}

// cached reads once for the several figures of one scrape.
type cached[T any] struct {
	read func(context.Context) (T, error)

	mu sync.Mutex
	at time.Time
	v  T
}

// get gives the last value that could be read.
func (c *cached[T]) get() T {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.at) > time.Second {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if v, err := c.read(ctx); err == nil {
			c.v, c.at = v, time.Now()
		}
	}
	return c.v
}

// figure is one metric of taking in.
type figure struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	of   func(intake.Counts, []intake.FolderState) float64
}

// figures reads the intake's figures when they are asked for.
type figures struct{ p *parts }

func (f *figures) list() []figure {
	count := func(name, help string, of func(intake.Counts) float64) figure {
		return figure{prometheus.NewDesc(name, help, nil, nil), prometheus.CounterValue, func(c intake.Counts, _ []intake.FolderState) float64 { return of(c) }}
	}
	gauge := func(name, help string, of func([]intake.FolderState) float64) figure {
		return figure{prometheus.NewDesc(name, help, nil, nil), prometheus.GaugeValue, func(_ intake.Counts, s []intake.FolderState) float64 { return of(s) }}
	}
	return []figure{
		count("thudbook_shots_partly_read_total", "Shots taken in of which a part could not be read.", func(c intake.Counts) float64 { return float64(c.Partly) }),
		count("thudbook_files_known_total", "Files whose bytes came before under the same name.", func(c intake.Counts) float64 { return float64(c.Known) }),
		count("thudbook_files_seen_again_total", "Files whose bytes came before under another name or time.", func(c intake.Counts) float64 { return float64(c.SeenAgain) }),
		count("thudbook_files_quarantined_total", "Files in which nothing could be read.", func(c intake.Counts) float64 { return float64(c.Quarantined) }),
		count("thudbook_intake_refused_total", "Files not taken in because the disk is full or the store failed.", func(c intake.Counts) float64 { return float64(c.Refused) }),
		count("thudbook_scoring_seconds_total", "Time spent in reading and scoring files.", func(c intake.Counts) float64 { return c.Scoring.Seconds() }),
		gauge("thudbook_intake_waiting_files", "Files in watched folders that are not taken in yet.", func(s []intake.FolderState) float64 {
			n := 0
			for _, f := range s {
				n += len(f.Waiting)
			}
			return float64(n)
		}),
		gauge("thudbook_intake_folders_failing", "Watched folders that cannot be read or whose map cannot be used.", func(s []intake.FolderState) float64 {
			n := 0
			for _, f := range s {
				if f.Problem != "" {
					n++
				}
			}
			return float64(n)
		}),
		gauge("thudbook_store_writable", "1 while the store can be written.", func([]intake.FolderState) float64 {
			if f.p.intake.Trouble() != nil {
				return 0
			}
			return 1
		}),
	}
}

// Describe is that of prometheus.Collector.
func (f *figures) Describe(c chan<- *prometheus.Desc) {
	for _, x := range f.list() {
		c <- x.desc
	}
}

// Collect is that of prometheus.Collector.
func (f *figures) Collect(c chan<- prometheus.Metric) {
	counts, folders := f.p.intake.Counts(), f.p.intake.Folders()
	for _, x := range f.list() {
		c <- prometheus.MustNewConstMetric(x.desc, x.kind, x.of(counts, folders))
	}
}
