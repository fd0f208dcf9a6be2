package year

import (
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// fact is a thing that happened, as the script reads it: plain words and numbers,
// times in milliseconds since 1970. Which fields a kind has stands in the script.
type fact struct {
	Kind     string   `json:"kind"`
	ID       string   `json:"id,omitempty"`
	Of       string   `json:"of,omitempty"` // the fact that this one is about
	Lab      string   `json:"lab,omitempty"`
	Rig      string   `json:"rig,omitempty"`
	Position string   `json:"position,omitempty"`
	Item     string   `json:"item,omitempty"`
	Class    string   `json:"class,omitempty"`
	At       lab.Time `json:"-"`
	AtMS     int64    `json:"at,omitempty"`
	DueMS    int64    `json:"due,omitempty"`
	Number   int64    `json:"number,omitempty"`
	Strokes  int64    `json:"every_strokes,omitempty"`
	Days     int64    `json:"every_days,omitempty"`
	Opening  int64    `json:"opening,omitempty"`
	Entered  int64    `json:"entered,omitempty"`
	Yes      bool     `json:"yes,omitempty"`
	Word     string   `json:"word,omitempty"`
	Cell     string   `json:"cell,omitempty"`
	Speed    float64  `json:"speed,omitempty"`
}

// entry is a fact with the record that says it, and when it is written down.
type entry struct {
	fact
	at          time.Time // when it is written down; not before the one before it on the same rig
	uid         string
	body        lab.Body
	more        []lab.Body // about the same document
	attachments []record.Attachment
}
