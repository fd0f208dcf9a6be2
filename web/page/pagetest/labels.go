package pagetest

import (
	"fmt"

	"thudbook/web/page"
	"thudbook/web/present"
)

func labels() []Item {
	const address = "https://thudbook.example"
	label := func(class, name, serial, asset string) page.Label {
		l := page.Label{Class: class, Name: name, Serial: serial, Asset: asset, Lab: "Northmere lab", URL: address + page.ItemUsePath("019571b2-7c3d-7a10-9d01-000000000041")}
		var err error
		if l.Path, l.Size, err = present.QR(l.URL); err != nil {
			panic(err)
		}
		return l
	}
	s := page.Labels{Frame: serverFrame("Labels", page.PathEquipment), Labs: labChoices(), Address: address,
		Choices: []page.LabelChoice{{ID: "r1", Item: "ram one, R-1001", Kind: "ram", Lab: "Northmere lab", On: true}, {ID: "s1", Item: "accelerometer X, AC-0441", Kind: "sensor", Lab: "Northmere lab", On: true}, {ID: "h3", Item: "hose, H-3", Kind: "hose", Lab: "Hillside lab"}},
		Labels:  []page.Label{label("ram", "ram one", "R-1001", "A-0031"), label("sensor", "accelerometer X", "AC-0441", "")}}
	choose, empty, wrong, full := s, s, s, s
	choose.Labels = nil
	empty.Labels, empty.Choices, empty.Labs = nil, nil, nil
	wrong.Labels = nil
	wrong.Notices = []page.Notice{{Level: page.Warn, Text: "This server was not told its public address. The codes have the one that you use now: http://192.0.2.7:8080.", Fix: "If others reach it by another address, have the server started with that one before you print."},
		{Level: page.Bad, Text: "150 items are chosen; a sheet holds at most 120 labels.", Fix: "Choose one lab, or fewer items, and print several sheets."}}
	full.Labels, full.Choices = nil, nil
	for i := range 120 {
		serial := fmt.Sprintf("SERIAL-%012d", i*7919)
		full.Labels = append(full.Labels, label("pressure transducer", longName, serial, "ASSET-"+serial))
		full.Choices = append(full.Choices, page.LabelChoice{ID: fmt.Sprint(i), Item: longName + ", " + serial, Kind: "pressure transducer", Lab: "Northmere lab", On: true})
	}
	return []Item{{"labels", s}, {"labels-choose", choose}, {"labels-empty", empty}, {"labels-error", wrong}, {"labels-full", full}}
}
