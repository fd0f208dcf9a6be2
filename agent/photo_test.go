package agent_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thudbook/sync/home"
	"thudbook/web/picture/picturetest"
)

// sendPhotos posts a form with fields and photos; a browser without scripts sends the
// fields first, in the order of the page.
func (r *running) sendPhotos(path string, accept string, fields url.Values, photos ...part) answer {
	r.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, all := range fields {
		for _, v := range all {
			if err := m.WriteField(name, v); err != nil {
				r.t.Fatal(err)
			}
		}
	}
	for _, p := range photos {
		w, err := m.CreateFormFile("photo", p.file)
		if err == nil {
			_, err = io.WriteString(w, p.text)
		}
		if err != nil {
			r.t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		r.t.Fatal(err)
	}
	req, err := http.NewRequest(http.MethodPost, r.base+path, &b)
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", m.FormDataContentType())
	req.Header.Set("Origin", r.base)
	if accept != "" {
		req.Header.Set("Accept", accept)
	}
	return r.do(req)
}

// stored lists the files among the stored bytes, with what is being written.
func (r *running) stored() (out []string) {
	r.t.Helper()
	for _, pattern := range []string{"??/*", "part/*", "quarantine/*"} {
		names, err := filepath.Glob(filepath.Join(home.BlobPath(r.opt.Data), pattern))
		if err != nil {
			r.t.Fatal(err)
		}
		for _, n := range names {
			if filepath.Dir(n) != home.BlobPath(r.opt.Data) {
				out = append(out, n)
			}
		}
	}
	return out
}

var photoLink = regexp.MustCompile(`href="(/photos/[0-9a-f-]{36})"`)

// Photos come with the form of an inspection, belong to its shot at once, and
// are shown upright; the original stays as it came.
func TestPhotosOfAnInspection(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	path := "/shots/" + id + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path, "at most 64.0", "byte for byte"))[1]
	sideways := string(picturetest.JPEG(t, picturetest.Stored(picturetest.Corners(120, 80), 6), picturetest.Tags{Orientation: 6, Time: "2026:03:02 10:00:00", Position: true}, 0))
	v := url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_note": {"hairline crack"}, "photos": {"yes"}}
	if a := r.sendPhotos(path+"/draft", "", v, part{"photo", `C:\camera\weld "left".jpg`, sideways}); a.status != http.StatusSeeOther || !strings.HasSuffix(a.header.Get("Location"), "#photos") {
		t.Fatalf("photo with a draft = %d\n%s", a.status, a.body)
	}
	b := r.page(path, "hairline crack", "small.jpg")
	link := photoLink.FindStringSubmatch(b)[1]
	r.page(link, "weld &#34;left&#34;.jpg", "80 × 120 pixels", "2026-03-02 10:00:00", "or one of the two clocks is wrong", "says where it was taken", "Take it off", "large.jpg")
	got := r.get(link + "/original")
	if got.body != sideways || got.header.Get("Content-Type") != "image/jpeg" || !strings.HasPrefix(got.header.Get("Content-Disposition"), `attachment; filename="weld _left_.jpg"`) ||
		got.header.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(got.header.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("original: %d bytes of %d, %v", len(got.body), len(sideways), got.header)
	}
	small := r.get(link + "/small.jpg")
	if small.status != http.StatusOK || !strings.Contains(small.header.Get("Content-Security-Policy"), "sandbox") || strings.Contains(small.body, "Exif") {
		t.Errorf("small copy = %d %v", small.status, small.header)
	}
	// The same photo again, with the inspection itself: one photo.
	v.Set("verdict", "passed")
	if a := r.sendPhotos(path, "", v, part{"photo", "again.jpg", sideways}); a.status != http.StatusSeeOther {
		t.Fatalf("save = %d\n%s", a.status, a.body)
	}
	if n := len(r.get("/api/v1/shots/" + id + "/photos").json(t)["photos"].([]any)); n != 1 {
		t.Errorf("%d photos", n)
	}
	for _, page := range []string{"/shots/" + id, "/inspections", "/specimens/H-9", path} {
		if n := strings.Count(r.page(page), link+`"`); n != 1 {
			t.Errorf("GET %s shows the photo %d times", page, n)
		}
	}
	// Taken off with a reason, and put back by adding it again.
	if a := r.form(link+"/off", url.Values{"reason": {" "}}); a.status != http.StatusUnprocessableEntity {
		t.Errorf("taken off without a reason = %d", a.status)
	}
	if a := r.form(link+"/off", url.Values{"reason": {"another guard"}}); a.status != http.StatusSeeOther {
		t.Errorf("taken off = %d", a.status)
	}
	r.page(link, "Taken off: another guard")
	if strings.Contains(r.page("/shots/"+id, "None yet"), link) {
		t.Error("it is still shown")
	}
	if a := r.sendPhotos("/shots/"+id+"/photos", "application/json", url.Values{"sha256": {sum(sideways)}}, part{"photo", "again.jpg", sideways}); a.status != http.StatusCreated || !strings.Contains(a.body, sum(sideways)) {
		t.Errorf("again = %d %s", a.status, a.body)
	}
	r.page("/shots/"+id, link)
	// A photo of a specimen on arrival.
	if a := r.sendPhotos("/specimens/H-9/photos", "", nil, part{"photo", "tag.jpg", sideways}); a.status != http.StatusSeeOther {
		t.Errorf("of a specimen = %d\n%s", a.status, a.body)
	}
	if n := len(photoLink.FindAllString(r.page("/specimens/H-9"), -1)); n != 2 {
		t.Errorf("the specimen shows %d photos", n)
	}
}

func sum(s string) string { h := sha256.Sum256([]byte(s)); return hex.EncodeToString(h[:]) }

// What cannot be taken or shown is said on the page, and what was typed stays.
func TestPhotosThatAreBad(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	path := "/shots/" + id + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path))[1]
	good := string(picturetest.JPEG(t, picturetest.Corners(400, 300), picturetest.Tags{}, 0))
	v := url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_note": {"hairline crack"}}
	before := len(r.stored())
	for words, p := range map[string]part{
		"is no photo that is known here":              {"photo", "shot.jpg", csv(60)},
		"larger than 64.0\u00a0MB, the most that is":  {"photo", "big.jpg", good + strings.Repeat("x", 68<<20)},
		"ends early or is damaged":                    {"photo", "cut.jpg", good[:len(good)*2/3]},
		"60000 × 60000 pixels, too many pixels to dr": {"photo", "bomb.png", string(picturetest.Bomb(60000, 60000))},
		"is of type HEIC, which cannot be shown here": {"photo", "p.heic", "\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"},
	} {
		if a := r.sendPhotos(path+"/draft", "", v, p); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, words) || !strings.Contains(a.body, "hairline crack") {
			t.Errorf("%s: %d, want %q", p.file, a.status, words)
		}
	}
	r.page(path, "hairline crack", "Draft kept")
	list := r.get("/api/v1/shots/" + id + "/photos").json(t)["photos"].([]any)
	if len(list) != 3 { // cut, bomb and HEIC are evidence all the same
		t.Errorf("%d photos are kept", len(list))
	}
	if n := len(r.stored()) - before; n != 3 {
		t.Errorf("%d files were stored", n)
	}
	if n := strings.Count(r.page(path), "kept, cannot be shown here"); n != 3 {
		t.Errorf("%d photos are said not to be shown", n)
	}
	for _, one := range list {
		link := "/photos/" + one.(map[string]any)["id"].(string)
		if a := r.get(link + "/large.jpg"); a.status == http.StatusOK {
			t.Errorf("%s is drawn", link)
		}
		if a := r.get(link + "/original"); a.status != http.StatusOK {
			t.Errorf("the original of %s = %d", link, a.status)
		}
		r.page(link, "The original is kept")
	}
	// A sender that announced other bytes is told, and nothing is kept.
	if a := r.sendPhotos("/shots/"+id+"/photos", "application/json", url.Values{"sha256": {sum("other")}}, part{"photo", "a.jpg", good}); a.status != http.StatusConflict || !strings.Contains(a.body, "did not arrive as it was sent") {
		t.Errorf("other bytes than announced = %d %s", a.status, a.body)
	}
	if n := len(r.stored()) - before; n != 3 {
		t.Errorf("%d files were stored", n)
	}
}

// The connection breaks in the middle of a photo: nothing of it is kept or shown.
func TestPhotoCutHalfWay(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	before := r.stored()
	photo := picturetest.JPEG(t, picturetest.Corners(400, 300), picturetest.Tags{}, 3<<20)
	conn, err := net.Dial("tcp", strings.TrimPrefix(r.base, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	head := "--cut\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\n"
	if _, err := fmt.Fprintf(conn, "POST /shots/%s/photos HTTP/1.1\r\nHost: %s\r\nOrigin: %s\r\nContent-Type: multipart/form-data; boundary=cut\r\nContent-Length: %d\r\n\r\n%s%s",
		id, strings.TrimPrefix(r.base, "http://"), r.base, len(head)+len(photo)+11, head, photo[:len(photo)/2]); err != nil {
		t.Fatal(err)
	}
	r.until("half of it has come", func() bool {
		parts, _ := filepath.Glob(filepath.Join(home.BlobPath(r.opt.Data), "part", "*"))
		return len(parts) == 1
	})
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	r.until("the half is gone", func() bool { return len(r.stored()) == len(before) })
	if n := len(r.get("/api/v1/shots/" + id + "/photos").json(t)["photos"].([]any)); n != 0 {
		t.Errorf("%d photos are shown", n)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "multipart-*")); len(left) != 0 {
		t.Errorf("left in the folder for temporary files: %v", left)
	}
}
