package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"thudbook/web/picture/picturetest"
)

// One photo is taken out of a draft: the other and what was typed stay, also
// over a stop of the agent, and the original is kept. A photo of an inspection
// that is recorded leaves by its own screen only.
func TestPhotoOutOfADraft(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	path := "/shots/" + id + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path))[1]
	v := url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_note": {"hairline crack"}, "photos": {"yes"}}
	left := string(picturetest.JPEG(t, picturetest.Corners(120, 80), picturetest.Tags{}, 0))
	right := string(picturetest.JPEG(t, picturetest.Corners(160, 80), picturetest.Tags{}, 0))
	if a := r.sendPhotos(path+"/draft", "", v, part{"photo", "left.jpg", left}, part{"photo", "right.jpg", right}); a.status != http.StatusSeeOther {
		t.Fatalf("photos = %d\n%s", a.status, a.body)
	}
	b := r.page(path, "the record and its bytes stay")
	outs := regexp.MustCompile(`name="out" value="([0-9a-f-]{36})"`).FindAllStringSubmatch(b, -1)
	links := photoLink.FindAllStringSubmatch(b, -1)
	if len(outs) != 2 || len(links) != 2 {
		t.Fatalf("%d photos, %d can be taken out", len(links), len(outs))
	}
	original := r.get(links[0][1] + "/original").body // the list goes by time, then by id
	v.Del("photos")
	v.Set("weld_note", "crack, left") // typed and not kept yet
	v.Set("out", outs[0][1])
	a := r.form(path+"/draft", v)
	if a.status != http.StatusSeeOther || !strings.HasSuffix(a.header.Get("Location"), "/inspect#photos") {
		t.Fatalf("take out = %d\n%s", a.status, a.body)
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.run()
	b = r.page(path, "crack, left", "Draft kept", links[1][1])
	if strings.Contains(b, links[0][1]) {
		t.Error("the photo is still in the draft")
	}
	r.page(links[0][1], "Taken off: taken out before the inspection was recorded")
	if got := r.get(links[0][1] + "/original"); got.body != original || got.body == "" {
		t.Errorf("the original has %d bytes of %d", len(got.body), len(original))
	}
	// Added again it is back, and can be taken out again.
	v.Del("out")
	v.Set("photos", "yes")
	if a := r.sendPhotos(path+"/draft", "", v, part{"photo", "again.jpg", original}); a.status != http.StatusSeeOther {
		t.Fatalf("again = %d\n%s", a.status, a.body)
	}
	r.page(path, `name="out" value="`+outs[0][1]+`"`)
	// With the record, the offer ends.
	v.Del("photos")
	v.Set("verdict", "passed")
	r.send(path, v, "/")
	if b := r.page(path, links[0][1], links[1][1]); strings.Contains(b, `name="out"`) {
		t.Error("a photo of an inspection that is recorded can be taken out")
	}
	other := url.Values{"inspection": formID.FindStringSubmatch(r.page(path))[1:2], "effective_at": {seenNow()}}
	for out, want := range map[string]string{outs[1][1]: "belongs to no draft of this shot", "x": "no photo of this id"} {
		other.Set("out", out)
		if a := r.form(path+"/draft", other); a.status < 400 || a.status >= 500 || !strings.Contains(a.body, want) {
			t.Errorf("take out %q = %d\n%s", out, a.status, a.body)
		}
	}
	r.page("/shots/"+id, links[0][1], links[1][1])
}
