// Package telemetry makes the numbers that a Prometheus server reads. Each
// program has one Set with a registry of its own; nothing is global.
package telemetry

import (
	"net/http"
	"runtime/debug"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Set holds what agent and server count and measure.
type Set struct {
	registry *prometheus.Registry
	http     *prometheus.HistogramVec
	shots    *prometheus.CounterVec
	commits  prometheus.Histogram
	failed   prometheus.Counter
}

// New makes the set of one program ("agent" or "server") of one version.
func New(program, version string) *Set {
	r := prometheus.NewRegistry()
	s := &Set{
		registry: r,
		http: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "thudbook_http_request_duration_seconds",
			Help: "Time to answer a request, by route pattern.", Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10, 60}},
			[]string{"method", "route", "status"}),
		shots: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thudbook_shots_taken_in_total",
			Help: "Files taken in durably since the start, by kind of stroke."}, []string{"kind"}),
		commits: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "thudbook_commit_duration_seconds",
			Help: "Time of one durable commit to the store.", Buckets: []float64{.001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5}}),
		failed: prometheus.NewCounter(prometheus.CounterOpts{Name: "thudbook_commit_errors_total",
			Help: "Commits to the store that returned an error."}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{Name: "thudbook_build_info", Help: "Always 1; the labels say what runs.",
		ConstLabels: prometheus.Labels{"program": program, "version": version, "go": goVersion(), "revision": revision()}})
	build.Set(1)
	r.MustRegister(build, s.http, s.shots, s.commits, s.failed,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return s
}

// Handler serves /metrics.
func (s *Set) Handler() http.Handler {
	return promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{Registry: s.registry})
}

// Registry takes further collectors.
func (s *Set) Registry() *prometheus.Registry { return s.registry }

// Observe notes one answered request. route is the pattern, never the path, so
// that the number of series stays small; unknown routes count together.
func (s *Set) Observe(method, route string, status int, took time.Duration) {
	if route == "" {
		route = "none"
	}
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions:
	default:
		method = "other"
	}
	s.http.WithLabelValues(method, route, strconv.Itoa(status)).Observe(took.Seconds())
}

// ShotTaken counts a file that was taken in durably; kind is that of the
// contract: shot, dry or system_check.
func (s *Set) ShotTaken(kind string) {
	switch kind {
	case "shot", "dry", "system_check":
	default:
		kind = "other"
	}
	s.shots.WithLabelValues(kind).Inc()
}

// Commit notes one commit to the store, with its error if there was one.
func (s *Set) Commit(took time.Duration, err error) {
	s.commits.Observe(took.Seconds())
	if err != nil {
		s.failed.Inc()
	}
}

// Sources are read at each scrape, so they must be quick and safe to call from
// any goroutine. A nil one is left out.
type Sources struct {
	StoreBytes     func() float64       // size of the store's file
	BlobBytes      func() float64       // of the files kept beside it
	DiskFreeBytes  func() float64       // where the store lies
	PendingRecords func() float64       // not acknowledged as durable by the server
	OldestPending  func() time.Duration // age of the oldest of them; 0 when none
	Quarantine     func() float64       // files in quarantine
	ToAssign       func() float64       // shots that wait for their specimen
	LastExchange   func() time.Time     // last acknowledged exchange; zero: never
	Agents         func() float64       // enrolled with this server
}

// Watch adds gauges for the sources. It panics when called twice with the same
// source, which is a fault of the program.
func (s *Set) Watch(src Sources) {
	s.gauge("thudbook_store_bytes", "Size of the store's file.", src.StoreBytes)
	s.gauge("thudbook_blob_bytes", "Size of the files kept beside the store.", src.BlobBytes)
	s.gauge("thudbook_disk_free_bytes", "Free space where the store lies.", src.DiskFreeBytes)
	s.gauge("thudbook_pending_records", "Records not yet acknowledged as durable by the server.", src.PendingRecords)
	s.gauge("thudbook_quarantine_files", "Files in which nothing could be read.", src.Quarantine)
	s.gauge("thudbook_to_assign_shots", "Shots whose specimen or settings are not known.", src.ToAssign)
	s.gauge("thudbook_agents", "Agents enrolled with this server.", src.Agents)
	if f := src.OldestPending; f != nil {
		s.gauge("thudbook_oldest_pending_seconds", "Age of the oldest record not yet acknowledged; 0 when there is none.",
			func() float64 { return max(0, f().Seconds()) })
	}
	if f := src.LastExchange; f != nil {
		s.gauge("thudbook_last_exchange_timestamp_seconds", "Unix time of the last acknowledged exchange; 0: never.", func() float64 {
			t := f()
			if t.IsZero() {
				return 0
			}
			return float64(t.UnixMilli()) / 1e3
		})
	}
}

func (s *Set) gauge(name, help string, f func() float64) {
	if f != nil {
		s.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, f))
	}
}

func goVersion() string {
	if b, ok := debug.ReadBuildInfo(); ok {
		return b.GoVersion
	}
	return "unknown"
}

func revision() string {
	if b, ok := debug.ReadBuildInfo(); ok {
		for _, kv := range b.Settings {
			if kv.Key == "vcs.revision" {
				return kv.Value
			}
		}
	}
	return "unknown"
}
