package main

// equal is a site whose absence changes nothing that can be seen, and why.
type equal struct{ file, was, why string }

// equals are not tried. Each names one site, whatever its line.
func equals() []equal {
	return []equal{
		{"sync/exchange/service_records.go", "e.Seq <= known[e.Origin]", "spares a read that would find nothing"},
		{"sync/ledger/cutback.go", "head.Seq > after+pageRecords", "pages of one piece of work; without, it is one large transaction"},
		{"sync/blob/dirblob/put.go", "durable.SyncDir(filepath.Dir(path))",
			"a damaged file whose old name comes back after a power cut is met by the same check again, and moved aside again"},
		{"sync/kv/boltkv/create.go", "f.Sync()", "the commit before it synced the same file; this one also covers its length"},
	}
}

// equalTo gives why a site need not be noticed; empty: it must.
func equalTo(s *site) string {
	for _, e := range equals() {
		if e.file == s.file && e.was == s.was {
			return e.why
		}
	}
	return ""
}
