# The two commands of the README are `make demo` and `make test`; both set up
# what they need first.
GO ?= go
GOFLAGS_RACE ?= -race
BIN := bin/thudbook
NPM_STAMP := web/node_modules/.package-lock.json
SCRIPTS := $(wildcard web/*.js web/*.css web/src/*)

.PHONY: demo test bench fuzz lint build assets test-tools clean simulate-sync crash-images mutants disk-errors faults storage-faults continuity old-programs wire memory wine year

build: assets
	$(GO) build -trimpath -o $(BIN) ./cmd/thudbook

demo: build
	./$(BIN) demo

# Everything that CI asks: tools, scripts bundle, lint, all tests with the race detector.
# Most packages wait more than they compute, so that more of them run at once than there
# are cores.
TEST_AT_ONCE ?= $(shell echo $$(( $$(getconf _NPROCESSORS_ONLN) + 1 )))
test: test-tools build lint
	THUDBOOK_BIN=$(CURDIR)/$(BIN) $(GO) test $(GOFLAGS_RACE) -p $(TEST_AT_ONCE) -vet=off -timeout 15m ./... # lint has vetted all

bench: test-tools build
	$(GO) test -run '^$$' -bench . -benchtime 1s -cpu 1 ./metrics/...
	$(GO) test -run '^$$' -bench . -benchtime 2s ./sync/... ./agent/... ./server/...
	$(GO) test -run '^$$' -bench TracesPage -benchtime 5x ./web/page

# Every fuzz target for FUZZTIME each; a finding is written to the testdata folder beside it.
FUZZTIME ?= 30s
fuzz:
	@grep -rl --include=*_test.go '^func Fuzz' . | grep -v node_modules | xargs -n1 dirname | sort -u | while read -r dir; do \
	  for target in $$(grep -ho '^func Fuzz[A-Za-z0-9_]*' $$dir/*_test.go | cut -d' ' -f2); do \
	    echo "$$dir $$target"; \
	    $(GO) test -run '^$$' -fuzz "^$$target$$" -fuzztime $(FUZZTIME) $$dir || exit 1; \
	  done; \
	done

# The long runs of what the tests do in short.
simulate-sync:
	THUDBOOK_SIM_SEEDS=$${THUDBOOK_SIM_SEEDS:-10000} THUDBOOK_SIM_TRACED=$${THUDBOOK_SIM_TRACED:-100} $(GO) test -count=1 -timeout 0 -v -run 'TestSimulate|TestOneSeed' ./sync/trial/world

crash-images: test-tools
	THUDBOOK_CRASH_IMAGES=$${THUDBOOK_CRASH_IMAGES:-20000} THUDBOOK_CRASH_SHOTS=$${THUDBOOK_CRASH_SHOTS:-2000} $(GO) test -count=1 -timeout 0 -v -run TestCrashImages ./sync/trial/crashimage

# Each of the first 300 writes, and each sync, rename, open and growth fails once.
disk-errors: test-tools
	THUDBOOK_DISK_ERRORS=300 $(GO) test -count=1 -timeout 0 -v -run TestStorageErrors ./sync/trial/crashimage
	THUDBOOK_STRIKES=$${THUDBOOK_STRIKES:-60} $(GO) test -count=1 -timeout 0 -v ./sync/trial/strike

# Takes out one sync, hash comparison or sequence check at a time, and shows
# that a test fails. MUTANTS narrows it: make mutants MUTANTS="-kind sync".
mutants:
	$(GO) run ./sync/trial/mutate $(MUTANTS)

# The long forms of the network and kill tests of the exchange: 1 GiB with 200 cuts.
faults:
	THUDBOOK_FULL=1 $(GO) test -count=1 -timeout 60m -v -run 'EveryKindOfFault|CutsOfALarge|KilledInTheMiddle' ./sync/httppeer

# Folders of the real programs set back, copied and wiped, by whoever comes first afterwards.
continuity: build
	THUDBOOK_CONTINUITY=1 THUDBOOK_BIN=$(CURDIR)/$(BIN) $(GO) test -count=1 -timeout 30m -v ./sync/trial/continuity

# Earlier programs, built from their commits, with today's.
old-programs: build
	THUDBOOK_OLD=1 THUDBOOK_BIN=$(CURDIR)/$(BIN) $(GO) test -count=1 -timeout 60m -v ./sync/trial/oldprogram

# The real programs over a line between two network namespaces: rates from 64 kbit/s,
# losses to 20 %, breaks each second; then 500 shots over 256 kbit/s. About half an hour, as root.
wire: test-tools build
	THUDBOOK_WIRE=1 THUDBOOK_BIN=$(CURDIR)/$(BIN) $(GO) test -count=1 -timeout 0 -v ./sync/trial/wire

# Memory of agent and server while 20,000 shots go over.
memory: build
	THUDBOOK_BACKLOG_SHOTS=$${THUDBOOK_BACKLOG_SHOTS:-20000} THUDBOOK_BIN=$(CURDIR)/$(BIN) $(GO) test -count=1 -timeout 0 -v ./sync/trial/backlog

# A year of three labs with 100,000 shots, on two servers; all counters and due dates
# against an independent count. Prints time and memory.
year: test-tools
	THUDBOOK_YEAR_SHOTS=$${THUDBOOK_YEAR_SHOTS:-100000} $(GO) test -count=1 -timeout 0 -v -run TestYear ./server/trial/year

# Locks, renames, paths and the agent as Windows programs. Needs Wine: about 20 s to
# install, 700 MB of a temporary folder while it runs.
wine: test-tools
	THUDBOOK_WINE=1 $(GO) test -count=1 -timeout 20m -v ./sync/trial/wine

# Bits flipped all over a store, 64 in every page, and "no space left" at each of
# the first 300 writes of an agent; a quick set of both runs with the tests.
storage-faults: build
	THUDBOOK_FLIPS=64 $(GO) test -run 'Flipped' -v -count 1 -timeout 60m ./sync/home
	THUDBOOK_FLIPS=64 $(GO) test -run 'MetaPage' -v -count 1 -timeout 60m ./sync/ledger
	THUDBOOK_BIN=$(CURDIR)/$(BIN) THUDBOOK_ENOSPC=300 $(GO) test -run 'NoSpace' -v -count 1 -timeout 60m ./cmd/thudbook

lint:
	@out=$$(gofmt -l cmd agent server sync metrics web/*.go web/page web/chart web/httpkit web/telemetry); \
	  if [ -n "$$out" ]; then echo "not gofmt clean:"; echo "$$out"; exit 1; fi
	$(GO) vet ./...
	$(GO) tool staticcheck ./...
	GOOS=windows GOARCH=amd64 $(GO) build -o /dev/null ./cmd/thudbook
	GOOS=windows GOARCH=amd64 $(GO) vet ./...

assets: web/dist/app.js

$(NPM_STAMP): web/package.json web/package-lock.json
	@command -v npm >/dev/null || { echo "make: npm is missing; install Node.js 20 or newer"; exit 1; }
	npm ci --prefix web --ignore-scripts --no-audit --no-fund
	@touch $@

web/dist/app.js: $(NPM_STAMP) $(SCRIPTS)
	npm --prefix web run --silent build

test-tools:
	@.ci/need

clean:
	rm -rf bin web/node_modules
	find web/dist -mindepth 1 ! -name .keep -delete
