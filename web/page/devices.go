package page

import (
	"net/url"
	"time"
)

// Paths of tablets and phones beside the rig.
const (
	PathDevices   = "/devices"
	PostPairCode  = "/devices/code"   // makes a code
	PostDeviceOff = "/devices/remove" // field "device"
	PathPair      = "/pair"           // what a device that is not paired is shown
)

// PairPath is where a device pairs with a code.
func PairPath(code string) string { return PathPair + "/" + url.PathEscape(code) }

// Devices is the rig's own screen of tablets and phones.
type Devices struct {
	Frame
	Off         bool // by the settings
	Code        *PairCode
	Fingerprint string // of the certificate; empty: devices are not answered now
	Addresses   []string
	Loopback    bool // all of them are within this computer
	Paired      []DeviceRow
}

func (Devices) screen() string { return "devices" }

// PairCode is a code that is good now, drawn.
type PairCode struct {
	Address string // HOST:PORT that is drawn
	URL     string
	Path    string // of the drawing
	Size    int    // of the drawing in modules, with the quiet zone
	Minutes int    // for which it is good still, rounded up
	Others  []PairAddress
}

// PairAddress is another address of this computer to draw.
type PairAddress struct{ Address, Href string }

// DeviceRow is a paired device.
type DeviceRow struct {
	ID     string
	Name   string
	Paired time.Time
	By     string // who made the code; empty: the operator
	Seen   time.Time
	Person string // who is signed in there
}

// PairDevice is what a device is shown that is not paired.
type PairDevice struct {
	Frame
	Code bool // the address had a code: Form asks for a name
	Form Form // PairFields
}

func (PairDevice) screen() string { return "pair" }

// PairFields ask for the name of a device.
func PairFields() []Field {
	return []Field{{Name: "name", Label: "Name of this device", Kind: "text", Required: true, Complete: "off", Help: "As it is called at the rig: blue tablet, Ann’s phone."}}
}
