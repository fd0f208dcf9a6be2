package page

import (
	"strconv"

	"thudbook/web/chart"
)

// Paths of the guided first set-up of a rig.
const (
	PathSetup     = "/setup"
	PostSetupRig  = "/setup/rig"
	PostSetupFile = "/setup/file" // multipart, field "file"; or field "newest"
	PostSetupMap  = "/setup/map"  // field "do": SetupCheck or SetupSave
)

// What can be done with a channel map in the set-up.
const (
	SetupCheck = "check"
	SetupSave  = "save"
)

// Setup sets a rig up in five steps: name, folder, one file, channel map,
// sensors.
type Setup struct {
	Frame
	Given    string       // why it cannot be set up here; empty: it can
	Holds    []SetupHolds // then, what holds
	Done     bool         // it was just saved
	Name     Form         // SetupRigFields
	Folder   string       // chosen; empty: step one is not done
	Files    string       // what lies in it, in words
	Newest   string       // name of the newest file in it; empty: none
	Key      string
	Held     string   // name of the map that is saved, where no file is chosen to show it with
	Sample   string   // file that the map is made from; empty: none yet
	Saved    bool     // it begins with the map that is saved
	Unsure   []string // what a person should look at
	Trial    SetupTrial
	Replaces SetupReplaces
	Ask      bool   // it was to be saved, and nobody had agreed to what it replaces
	Old      string // files that lie in the folder and became no shot yet, as "12 files"; empty: none
	OldToo   bool   // they are to become shots
	Channels []SetupChannel
	Rest     Form // SetupMapFields
}

// OldFilesField says what becomes of the files that lie in the folder already: with
// OldFilesToo each becomes a shot, else they are passed over.
const (
	OldFilesField = "old_files"
	OldFilesToo   = "too"
)

// SetupTrial is what a shot like the file would give by the map as it stands.
type SetupTrial struct {
	Headline []Result
	Flags    []Flag
	Errors   []FileError
}

// Good says that there is nothing to object.
func (t SetupTrial) Good() bool { return len(t.Flags)+len(t.Errors) == 0 }

// SetupReplaces is what saving changes of the map that holds now.
type SetupReplaces struct {
	Map     string   // its name
	Changes []string // in words; none: nothing is lost
	Key     string   // the changes that a person agrees to, under ReplaceField
}

// ReplaceField says to which changes of the saved map a person agrees.
const ReplaceField = "replaces"

// SetupHolds is a folder that is watched, as the command line says.
type SetupHolds struct {
	Folder, Map, Problem string // Map empty: channels are guessed
}

func (Setup) screen() string { return "setup" }

// SetupChannel is one channel of the proposed map beside its trace.
type SetupChannel struct {
	Column string // empty: the row for one more
	Trace  *chart.Traces
	Why    string // there is no trace
	Form   Form   // SetupChannelFields
}

// SetupRigFields ask for the rig's name and the folder of the acquisition.
func SetupRigFields() []Field {
	return []Field{
		{Name: "rig", Label: "Name of the rig", Kind: "text", Required: true, Help: "As people call it."},
		{Name: "folder", Label: "Folder that the acquisition writes to", Kind: "text", Required: true, Help: `As D:\acquisition\out, or \\computer\share\out for a share in the network.`},
	}
}

// SetupChannelFields ask what a column is; n counts the channels from 0.
func SetupChannelFields(n int) []Field {
	p := "c" + strconv.Itoa(n) + "_"
	return []Field{
		{Name: p + "column", Label: "Column", Plain: true, Kind: "text", Help: "Its head, or its number from 1. The position at the rig has this name."},
		{Name: p + "measures", Label: "Measures", Plain: true, Kind: "select", Options: []Choice{{"", "nothing: leave it out"}, {"linear acceleration", "linear acceleration"}, {"angular velocity", "angular velocity"}, {"light gate", "light gate"}, {"pressure", "pressure"}, {"force", "force"}}},
		{Name: p + "axis", Label: "Axis", Plain: true, Kind: "select", Help: "SAE J211: x forward, y right, z down.", Options: []Choice{{"", "none"}, {"x", "x"}, {"-x", "\u2212x, turned round"}, {"y", "y"}, {"-y", "\u2212y, turned round"}, {"z", "z"}, {"-z", "\u2212z, turned round"}}},
		{Name: p + "unit", Label: "Unit", Plain: true, Kind: "text", Help: "As g, rad/s, deg/s, V, mV, kPa, N."},
		{Name: p + "cfc", Label: "Filter class", Plain: true, Kind: "select", Options: []Choice{{"0", "unfiltered"}, {"60", "CFC 60"}, {"155", "CFC 155"}, {"180", "CFC 180"}, {"600", "CFC 600"}, {"1000", "CFC 1000"}}},
		{Name: p + "full_scale", Label: "Full scale, in the unit", Kind: "number", Help: "To see saturation."},
		{Name: p + "sensitivity", Label: "Sensitivity", Kind: "number", Help: "For V, mV and counts: how many make one g, rad/s, kPa, N."},
		{Name: p + "uncertainty", Label: "Expanded uncertainty, k = 2", Unit: "%", Kind: "number", Help: "Of the whole measuring chain, as from its calibration certificate. Without it the uncertainty of the results is not known."},
		{Name: p + "flag_mm", Label: "Flag of a light gate", Unit: "mm", Kind: "number"},
	}
}

// SetupMapFields ask for the rest of the channel map.
func SetupMapFields() []Field {
	return []Field{
		{Name: "time_column", Label: "Column of the time", Plain: true, Kind: "text", Help: "Empty: the samples come at an even rate."},
		{Name: "time_unit", Label: "Unit of the time", Plain: true, Kind: "select", Options: []Choice{{"", "none"}, {"s", "s"}, {"ms", "ms"}, {"us", "µs"}}},
		{Name: "rate_hz", Label: "Rate, without a column of the time", Plain: true, Unit: "Hz", Kind: "number"},
		{Name: "baseline_ms", Label: "At rest before the impact", Unit: "ms", Kind: "number", Help: "The mean over it is taken off."},
		{Name: "mass_kg", Label: "Moving mass of the ram", Unit: "kg", Kind: "number", Help: "For the energy."},
		{Name: "rule", Label: "A file is complete", Plain: true, Kind: "select", Options: []Choice{{"quiet", "when it has not changed for a while"}, {"rows", "at a number of rows"}, {"footer", "when its last line has a text"}, {"marker", "when a second file appears beside it"}}},
		{Name: "quiet_ms", Label: "Not changed for", Unit: "ms", Kind: "number", Help: "Empty: 1500 ms."},
		{Name: "rows", Label: "Rows of a complete file", Kind: "number"},
		{Name: "footer", Label: "Text of the last line", Kind: "text"},
		{Name: "marker", Label: "Ending of the second file", Kind: "text", Help: "As .done"},
	}
}
