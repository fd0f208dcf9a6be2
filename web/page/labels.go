package page

// PathLabels is the sheet of labels; "item" names the items, once each.
const PathLabels = "/equipment/labels"

// Labels is a sheet of labels to print and stick on equipment.
type Labels struct {
	Frame
	Choices []LabelChoice // what the person may see
	Labels  []Label       // of the items that were chosen, in their order
	Plain   string        // the address that the codes lead to, where nobody set the server's own
}

func (Labels) screen() string { return "labels" }

// LabelChoice is an item to choose.
type LabelChoice struct {
	ID, Text, Lab string
	Chosen        bool
}

// Label is one label. Path and Size are those of present.QR.
type Label struct {
	Name, Kind, Serial, Asset, Lab string
	Address                        string // that the code holds
	Path                           string
	Size                           int
}
