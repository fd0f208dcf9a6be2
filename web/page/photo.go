package page

import (
	"net/url"
	"time"
)

// PathPhotos is where photos are.
const PathPhotos = "/photos"

// PhotoPath is the screen of one photo.
func PhotoPath(id string) string { return PathPhotos + "/" + url.PathEscape(id) }

// PhotoOriginalPath serves the bytes of a photo as they came.
func PhotoOriginalPath(id string) string { return PhotoPath(id) + "/original" }

// PhotoSmallPath serves a small copy for lists.
func PhotoSmallPath(id string) string { return PhotoPath(id) + "/small.jpg" }

// PhotoLargePath serves a copy that fills a screen.
func PhotoLargePath(id string) string { return PhotoPath(id) + "/large.jpg" }

// PhotoOffPath takes a photo off its shot or specimen (POST).
func PhotoOffPath(id string) string { return PhotoPath(id) + "/off" }

// ShotPhotosPath takes photos of a shot (POST).
func ShotPhotosPath(id string) string { return ShotPath(id) + PathPhotos }

// SpecimenPhotosPath takes photos of a specimen (POST).
func SpecimenPhotosPath(name string) string { return SpecimenPath(name) + PathPhotos }

// PhotoField is the name of the input that takes photos.
const PhotoField = "photo"

// Photo is a picture that belongs to a shot or a specimen.
type Photo struct {
	Name   string
	Href   string // of its screen
	Small  string // of a small copy; empty when it cannot be drawn
	Absent string // why there is no small copy, in few words
	ID     string
	During string // id of the inspection that it was taken in; empty: none
	Out    bool   // it can be taken out of a draft
}

// PhotoForm takes photos.
type PhotoForm struct {
	Action string
	Hidden map[string]string
	Most   int64 // bytes of one photo
	Of     string
}

// PhotoAction takes the photos of the shot that is inspected.
func (p Inspect) PhotoAction() string { return p.ShotHref + PathPhotos }

// Limit says how large a photo may be.
func (p Inspect) Limit() string { return ShowBytes(p.Most) }

// Limit is Most in words.
func (f PhotoForm) Limit() string { return ShowBytes(f.Most) }

// PhotoScreen is one photo, as large as the screen allows (agent and server).
type PhotoScreen struct {
	Frame
	Name       string
	Large      string // of the copy; empty when it cannot be drawn
	Why        string // it cannot be drawn, and what to do
	Original   string // of the bytes; empty when they are not here
	Absent     string // why they are not here
	Type, Size string
	Pixels     string
	Of         []Choice // links and texts: shot, specimen
	Arrived    time.Time
	By         string
	Camera     string // time that the camera wrote; empty: none
	Clock      string // how far that is from the arrival
	ClockFar   bool
	Position   bool // the original says where it was taken
	Note       string
	SHA256     string
	Off        *Form  // takes it off; nil where the caller may not
	TakenOff   string // by whom and why; empty: it is shown
}

func (PhotoScreen) screen() string { return "photo" }

// PhotoOffFields asks why a photo is taken off.
func PhotoOffFields() []Field {
	return []Field{{Name: "reason", Label: "Reason", Kind: "text", Required: true, Help: "As “belongs to another specimen”. The photo stays in the record."}}
}

// PhotosTaken says what became of photos that were sent without a script.
type PhotosTaken struct {
	Frame
	Back string
}

func (PhotosTaken) screen() string { return "photos-taken" }
