package page

import "net/url"

// PathLabels is the sheet of labels; it takes the ids of items as "item".
const PathLabels = "/equipment/labels"

// LabelPath is the sheet with the label of one item.
func LabelPath(item string) string { return PathLabels + "?" + url.Values{"item": {item}}.Encode() }

// Labels is a sheet of labels for printing, and the choice of items for it.
type Labels struct {
	Frame
	Lab     string // as filtered
	Labs    []Choice
	Choices []LabelChoice // items of the filter
	Kept    []string      // ids that are chosen and not among Choices
	Labels  []Label
	Address string // of the server, as the codes have it
}

func (Labels) screen() string { return "labels" }

// LabelChoice is one item that a label can be made for.
type LabelChoice struct {
	ID, Item, Kind, Lab string
	On                  bool
}

// Label is what stands on one label.
type Label struct {
	Class, Name, Serial, Asset, Lab string
	URL                             string // of the item's page, which is what the code says
	Path                            string // of the drawing
	Size                            int    // of the drawing in modules, with the quiet zone
}
