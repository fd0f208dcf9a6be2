package page

import (
	"html/template"
	"net/url"
	"time"
)

// Where certificates and documents of items are.
const (
	PathDocuments = "/documents"
	PostDocument  = "/equipment/documents"
)

// CertificatesPath is the screen with all certificates of an item.
func CertificatesPath(item string) string { return "/equipment/certificates/" + url.PathEscape(item) }

// DocumentPath serves a document's bytes.
func DocumentPath(id string) string { return PathDocuments + "/" + url.PathEscape(id) }

// Certificates shows what is on record of an item's calibrations, and its files.
type Certificates struct {
	Frame
	ID, Item, Kind, Lab string
	State               Status // of the calibration
	Rows                []CertificateRow
	Advice              *IntervalAdvice // nil: the item has no calibrations
	Chart               template.HTML   // of the sensitivity; empty: fewer than two
	ChartNote           string
	Files               []DocumentRow // of the item in general
	Calibration         *Form         // CalibrationFields; nil where the caller may not
	Upload              *Upload       // nil where the caller may not
	CSV                 string
}

func (Certificates) screen() string { return "certificates" }

// CertificateRow is one certificate.
type CertificateRow struct {
	ID          string
	Number      string
	On, Due     time.Time
	Late        bool // entered more than a day after it was made
	Laboratory  string
	Reference   string
	AsFound     Number
	AsLeft      Number
	Uncertainty Number
	Change      string // as found, of the one before: "+5.0 %, limit ±2.2 %"
	State       Status // {Bad, "outside its limits"}; empty Word: not compared
	Review      string // link, where it was found outside its limits
	By          string
	Recorded    time.Time
	Files       []DocumentRow
}

// DocumentRow is one file.
type DocumentRow struct {
	Title string
	Href  string // empty: not here yet
	Size  string
	Name  string
	At    time.Time
	By    string
	Off   string // where the form that takes it off posts to; empty: the caller may not
	Key   string
}

// IntervalAdvice is advice on the next interval, in words.
type IntervalAdvice struct {
	Text  string // as "500 days, 25 % longer than the last one"
	Why   string
	Drift string // empty: not known
}

// Upload is the form that adds a file.
type Upload struct {
	Key     string
	Item    string
	Choices []Choice // certificates; "" for the item in general
	Error   string
	Title   string
	About   string
}
