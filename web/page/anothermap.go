package page

// AnotherMapPath is the screen on which a shot is computed again by another channel
// map; POST to it makes that result hold. Query AnotherMapField names the map.
func AnotherMapPath(id string) string { return ShotPath(id) + "/map" }

// AnotherMapField is the SHA-256 of a channel map, in hexadecimal.
const AnotherMapField = "map"

// AnotherMapFields ask why another channel map is the right one.
func AnotherMapFields() []Field {
	return []Field{{Name: AnotherMapField, Kind: "hidden"},
		{Name: "reason", Label: "Why this channel map is the right one", Kind: "text", Required: true, Help: "As: ax and ay were swapped in the map of that day."}}
}

// AnotherMap shows what a shot becomes when another channel map reads it.
type AnotherMap struct {
	Frame
	Shot   string  // link back
	What   string  // "FG-A-012, front"
	Holds  MapUsed // by which the shown result was computed
	Maps   []Choice
	Chosen string      // value of Maps; empty: there is no other map
	Change *MapPreview // nil: it could not be computed, see the notices
}

func (AnotherMap) screen() string { return "another-map" }

// MapPreview is what another channel map changes of one shot.
type MapPreview struct {
	Differs []string // what the map says otherwise, as MapChanges words it
	Rows    []MapResult
	Gone    []Flag // flags of the result that holds, and not of the other
	Come    []Flag
	Stay    string      // as "2 flags stay"
	Errors  []FileError // what of the file the other map cannot read
	Confirm Form        // AnotherMapFields
}

// MapResult is one result by both maps.
type MapResult struct {
	Name string
	Pair
	Moves bool
}
