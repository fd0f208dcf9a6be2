package page_test

import (
	"testing"

	"thudbook/web/browsertest"
)

// BenchmarkTracesPage loads the fullest shot, 12 channels of 10 000 samples, in
// Chromium: how long after the start of the navigation the first traces and
// those of every sample are drawn, and the still picture in the page before them,
// and how many bytes came until then. The first load is the one of a fresh browser.
func BenchmarkTracesPage(b *testing.B) {
	s := gallery(b)
	tab := browsertest.New(b).Tab(b, s.URL)
	tab.Look(browsertest.Desktop)
	var still, first, full, bytes float64
	for b.Loop() {
		before := tab.Bytes()
		tab.Open("/gallery/shot-full")
		tab.Wait(`document.getElementById("traces") && document.getElementById("traces").dataset.ready === "full"`)
		tab.Wait(`performance.getEntriesByName("first-contentful-paint").length > 0`) // a quick machine may paint once, after all of it
		still += browsertest.Eval[float64](tab, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
		first += browsertest.Eval[float64](tab, `performance.getEntriesByName("traces-first")[0].startTime`)
		full += browsertest.Eval[float64](tab, `performance.getEntriesByName("traces-full")[0].startTime`)
		bytes += float64(tab.Bytes() - before)
	}
	n := float64(b.N)
	b.ReportMetric(still/n, "ms-to-still-traces")
	b.ReportMetric(first/n, "ms-to-first-traces")
	b.ReportMetric(full/n, "ms-to-every-sample")
	b.ReportMetric(bytes/n/1000, "kB-in-all")
}
