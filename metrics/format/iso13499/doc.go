// Package iso13499 reads and writes the folders of ISO/TS 13499, the exchange
// format of crash test data: a header NAME.mme, a channel list
// Channel/NAME.chn, and one text file per channel, Channel/NAME.001 and on.
// It also reads such a folder out of one stream of bytes, a plain tar or a zip.
//
// The layout is written from memory of the published format; conformity to the
// current edition was not checked against print. Reading is therefore tolerant:
// keys may come in any order, unknown ones are kept, a key may be padded or not,
// NOVALUE and a key that is missing are the same.
package iso13499

import (
	"thudbook/metrics/fault"
)

// The fault codes that this package adds to those of all readers.
const (
	// BadCode is a channel code that is not 16 characters of A-Z, 0-9 and "?".
	BadCode fault.Code = "bad_channel_code"
	// BadArchive is a tar or zip that must not or cannot be unpacked.
	BadArchive fault.Code = "bad_archive"
)

// NoValue stands where a value is not known.
const NoValue = "NOVALUE"

// Limits that hold whatever Options say.
const (
	maxEntries     = 10_000   // files and folders in an archive or a folder
	maxChannels    = 4096     // channel files
	maxHeaderLines = 2000     // keys of one file
	maxListBytes   = 4 << 20  // .mme and .chn
	maxName        = 1024     // bytes of a file's name in an archive
	ratioFrom      = 32 << 20 // unpacked bytes from which a zip's ratio is looked at
	maxRatio       = 100      // unpacked to packed
)

// Options says what is kept and how much.
type Options struct {
	// Keep says whether the values of a channel are wanted, by the number of its
	// file and the texts that name it (code, name, laboratory code, customer
	// code). Nil keeps all.
	Keep func(number int, names []string) bool
	// MaxValues is the most samples over all channels kept; 0: 20 million.
	MaxValues int
}

func (o Options) maxValues() int {
	if o.MaxValues <= 0 {
		return 20_000_000
	}
	return o.MaxValues
}

// maxBytes is the most text that is unpacked: 64 bytes a value and some more.
func (o Options) maxBytes() int64 { return 64*int64(o.maxValues()) + 1<<20 }

// maxPacked is the most of a zip that is held in memory.
func (o Options) maxPacked() int64 { return min(16*int64(o.maxValues())+1<<20, 256<<20) }

// File is one test.
type File struct {
	Reference string // name of the .mme without its ending
	Header    Header // of the .mme, in its order
	List      Header // of the .chn
	// Channels are in the order of their numbers. A channel that the list names
	// and that has no file is there with its Fault.
	Channels []Channel
	Notes    []string // what a person should look at, in sentences
	Other    []string // files that were not read: films, comments, reports
}

// Channel is one channel file.
type Channel struct {
	Number int    // ending of its file, its place in the list
	File   string // name of its file
	Header Header
	Code   Code
	Text   string // what the channel list says behind the code
	Values []float64
	Kept   bool // Values were read
	// StartS is the time of the first sample, IntervalS the sampling interval,
	// both in s; IntervalDigits is how many significant digits print it.
	StartS, IntervalS float64
	IntervalDigits    int
	Line              int          // of the channel code, or 1
	Fault             *fault.Error // the first that concerns this channel alone
	Notes             []string
}

// Unit is the text of the unit, "" where there is none.
func (c *Channel) Unit() string { return c.Header.Value("Unit") }

// Names are the texts that a channel map may name the channel by, the code
// first; a text that is missing is "".
func (c *Channel) Names() []string {
	return []string{
		string(c.Code), c.Header.Value("Name of the channel"), c.Header.Value("Laboratory channel code"),
		c.Header.Value("Customer channel code"), c.File,
	}
}

// fail notes a fault of the channel; the first one counts, but any other goes
// before a bad code, which spoils no value.
func (c *Channel) fail(f *fault.Error) {
	if c.Fault == nil || c.Fault.Code == BadCode {
		f.Channel = c.label()
		c.Fault = f
	}
}

// label is how messages name the channel.
func (c *Channel) label() string {
	if c.Code != "" {
		return string(c.Code)
	}
	return c.File
}
