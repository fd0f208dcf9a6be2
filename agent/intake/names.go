package intake

import "strings"

// MapName is the channel map that a watched folder may hold.
const MapName = "map.toml"

const metaSuffix = ".meta.json"

// temporary lists the endings by which programs mark a file that is not finished.
func temporary(lower string) bool {
	for _, end := range []string{".tmp", ".temp", ".part", ".partial", "~"} {
		if strings.HasSuffix(lower, end) {
			return true
		}
	}
	return strings.HasPrefix(lower, ".") || strings.HasPrefix(lower, "~")
}

// isShot tells whether a file of this name can be an acquisition's file. Names
// that end in marker (unless empty) tell that another file is finished.
func isShot(name, marker string) bool {
	lower := strings.ToLower(name)
	switch {
	case temporary(lower), strings.HasSuffix(lower, ".toml"), strings.HasSuffix(lower, metaSuffix):
		return false
	case lower == "thumbs.db", lower == "desktop.ini": // written by file managers on shares
		return false
	}
	return marker == "" || !strings.HasSuffix(lower, strings.ToLower(marker))
}

// metaNames lists the names under which the meta of a file may stand beside it:
// "a.csv.meta.json", and "a.meta.json".
func metaNames(name string) []string {
	names := []string{name + metaSuffix}
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		names = append(names, name[:i]+metaSuffix)
	}
	return names
}
