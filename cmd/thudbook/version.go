package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
)

// version is the module's version, or the revision it was built from.
func version() string {
	v, revision, changed := built()
	if v != "" && v != "(devel)" {
		return v
	}
	if revision == "" {
		return "development"
	}
	v = "development-" + revision[:min(12, len(revision))]
	if changed {
		v += "+changed"
	}
	return v
}

// about tells version, Go and source revision in a line.
func about() string {
	_, revision, changed := built()
	if revision == "" {
		revision = "not recorded"
	} else if changed {
		revision += ", with changes that were not committed"
	}
	return fmt.Sprintf("thudbook %s, %s %s/%s, source revision %s", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH, revision)
}

func built() (module, revision string, changed bool) {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "", "", false
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value
		case "vcs.modified":
			changed = strings.EqualFold(s.Value, "true")
		}
	}
	return info.Main.Version, revision, changed
}
