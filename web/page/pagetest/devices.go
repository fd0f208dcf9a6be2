package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func devices() []Item {
	const print = "3A:91:0C:5E 77:D0:12:AB 40:0F:E2:66 9B:31:C8:04 5D:EE:71:29 BC:08:F4:13 62:A7:90:DD 1E:4B:85:F6"
	screen := func(n int) page.Devices {
		p := page.Devices{Frame: agentFrame("Devices", page.PathDevices, page.AgentCounts{})}
		for i := range n {
			d := page.DeviceRow{ID: fmt.Sprint(i), Name: []string{"Blue tablet", "Ann’s phone", "The tablet on the trolley beside the conditioning chamber"}[i%3], Paired: ago(time.Duration(i+1) * 50 * time.Hour), Seen: ago(time.Duration(i) * 41 * time.Minute)}
			if i%2 == 0 {
				d.By, d.Person = "Wilma Quill", "Ann Brook"
			}
			p.Paired = append(p.Paired, d)
		}
		if n > 0 {
			p.Fingerprint, p.Addresses = print, []string{"192.0.2.7:8372", "[2001:db8::7]:8372"}
		}
		return p
	}
	open := screen(2)
	// The drawing stands for a code; what it says is checked where it is made.
	open.Code = &page.PairCode{Address: "192.0.2.7:8372", URL: "https://192.0.2.7:8372/pair/QXKQ4TBD6ZT2M7W5RA3YHC2UVE", Path: "M4 4h7v1h-7zM4 5h1v5h-1zM10 5h1v5h-1zM4 10h7v1h-7zM6 6h3v3h-3z", Size: 45, Minutes: 5,
		Others: []page.PairAddress{{Address: "[2001:db8::7]:8372", Href: "/devices?at=x"}}}
	off := screen(0)
	off.Off = true
	busy := screen(1)
	busy.Fingerprint, busy.Addresses = "", nil
	busy.Notices = []page.Notice{{Level: page.Bad, Text: "Tablets and phones cannot be answered at :8372.", Fix: "See whether another program has this port, or choose another one with --devices-listen."}}
	bare := page.Frame{Title: "Pair this device", Now: Now(), AtRig: true}
	name := page.PairDevice{Frame: bare, Code: true, Form: page.Form{Action: page.PairPath("x"), Fields: page.PairFields(), Submit: "Pair this device"}}
	bad := name
	bad.Form.Values = map[string]string{"name": "Ann’s phone"}
	bad.Form.Errors = map[string]string{"name": "This code is not good, was used, or is older than five minutes. Make a new one at the rig, under Devices."}
	return []Item{{"devices-empty", screen(0)}, {"devices-code", open}, {"devices-off", off}, {"devices-error", busy}, {"devices-full", screen(40)},
		{"pair-how", page.PairDevice{Frame: bare}}, {"pair", name}, {"pair-error", bad}}
}
