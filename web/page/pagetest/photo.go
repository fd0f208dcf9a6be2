package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

func photos(n int) []page.Photo {
	var out []page.Photo
	for i := range n {
		p := page.Photo{ID: fmt.Sprint("p", i), Name: fmt.Sprintf("guard-%02d.jpg", i+1), Href: page.PhotoPath(fmt.Sprint("p", i)), Small: page.PhotoSmallPath(fmt.Sprint("p", i))}
		switch i % 5 {
		case 1:
			p.Small, p.Absent = "", "its bytes are not here yet"
		case 3:
			p.Small, p.Absent = "", "kept, cannot be shown here"
		}
		out = append(out, p)
	}
	return out
}

func photoScreen() page.PhotoScreen {
	return page.PhotoScreen{Frame: agentFrame("Photo", page.PathShots, page.AgentCounts{}), Name: "guard-01.jpg", Large: page.PhotoLargePath("p1"), Original: "/photos/p1/original", Type: "JPEG", Size: "3.4\u00a0MB", Pixels: "4032 × 3024 pixels",
		Of:      []page.Choice{{Value: "/shots/s1", Text: "shot of 2031-03-14 14:52:06 +01:00"}, {Value: "/specimens/FG-A-012", Text: "FG-A-012"}},
		Arrived: ago(6 * time.Minute), By: "Wilma Quill", Camera: "2031-03-14 15:03:08 +01:00", Clock: "18\u00a0s before it arrived", SHA256: strings.Repeat("5a", 32),
		Off: &page.Form{ID: "take", Action: page.PhotoOffPath("p1"), Fields: page.PhotoOffFields(), Submit: "Take it off"}}
}

// barePhoto is one on the server whose bytes have not arrived.
func barePhoto() page.PhotoScreen {
	p := photoScreen()
	p.Frame, p.Large, p.Original, p.Pixels, p.Camera, p.Clock, p.Off = serverFrame("Photo", page.PathShots), "", "", "", "", "", nil
	p.Absent = "The bytes are still on the rig PC; they come by themselves."
	return p
}

func photoWrong() page.PhotoScreen {
	p := photoScreen()
	p.Large, p.Why = "", "It has 60000 × 60000 pixels, too many pixels to draw here. The original is kept; download it to see it."
	p.Position, p.Clock, p.ClockFar = true, "1\u00a0h after it arrived: one of the two clocks is wrong", true
	p.Off.Errors = map[string]string{"reason": "The text is missing. Say why."}
	return p
}

func fullPhoto() page.PhotoScreen {
	p := photoScreen()
	p.Name, p.Note, p.TakenOff, p.Off = strings.Repeat("guard of the second series ", 9)+".jpeg", longName, "belongs to another specimen, by Ann Brook", nil
	p.Of[1].Text = longName
	return p
}

func photosTaken() page.PhotosTaken {
	p := page.PhotosTaken{Frame: agentFrame("Photos", page.PathShots, page.AgentCounts{}), Back: "/shots/s1#photos"}
	p.Notices = []page.Notice{
		{Level: page.Bad, Text: "“report.pdf” is no photo that is known here; it was not kept.", Fix: "Choose a JPEG, PNG, WebP, HEIC or AVIF file. Its content counts, not its name."},
		{Level: page.Warn, Text: "The photo “guard-07.jpg” is kept. Its picture ends early or is damaged, so that it cannot be drawn.", Fix: "The original is kept as it came. Take the photo again if you can."}}
	return p
}
