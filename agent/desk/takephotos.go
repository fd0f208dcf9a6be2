package desk

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

// photoBody bounds a form with photos. It is far above one photo, so that a
// photo that is too large can be read to its end and refused on the page, with
// what else was typed there kept.
const photoBody = 1 << 30

// form is a posted form. Its photos are durable already, and recorded by
// record; those that were refused are notices.
type form struct {
	url.Values
	photos  []taken
	refused []page.Notice
	first   error // of refused, for programs
}

// taken is a photo whose bytes are stored.
type taken struct {
	bytes record.Attachment
	facts picture.Facts
}

// readForm reads a form as it comes; photos go to the disk, not into memory.
func (d *Desk) readForm(c echo.Context) (f form, err error) {
	media, _, _ := mime.ParseMediaType(c.Request().Header.Get(echo.HeaderContentType))
	if media != echo.MIMEMultipartForm {
		f.Values, err = c.FormParams()
		return f, unreadable(err)
	}
	parts, err := c.Request().MultipartReader()
	if err != nil {
		return f, unreadable(err)
	}
	f.Values = url.Values{}
	room := maxPart
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return f, nil
		}
		if err != nil {
			return f, unreadable(err)
		}
		if part.FormName() != page.PhotoField {
			b, err := io.ReadAll(io.LimitReader(part, int64(room)+1))
			if room -= len(b); err == nil && room < 0 {
				err = problem.New(problem.TooLarge, "The form has more than 1 MB of text.", "Shorten it.")
			}
			if err != nil {
				return f, unreadable(err)
			}
			f.Values.Add(part.FormName(), string(b))
			continue
		}
		if err := d.takePart(c.Request().Context(), part, &f); err != nil {
			return f, unreadable(err)
		}
	}
}

// takePart stores one photo. What is wrong with it is noted, and the rest of the
// form is read all the same.
func (d *Desk) takePart(ctx context.Context, part *multipart.Part, f *form) error {
	if part.FileName() == "" {
		return nil // the field was left empty
	}
	t, err := d.storePhoto(ctx, part, plainName(part.FileName()), f.Get("sha256"))
	switch p, ok := problem.As(err); {
	case err == nil:
		f.photos = append(f.photos, t)
	case ok:
		if f.first == nil {
			f.first = err
		}
		f.refused = append(f.refused, page.Notice{Level: page.Bad, Text: p.What, Fix: p.Fix})
		if p.Code == problem.Unavailable || p.Code == problem.NoSpace {
			d.Log.Error("a photo cannot be kept", "error", err)
		}
	default:
		return err
	}
	_, err = io.Copy(io.Discard, part)
	return err
}

// unreadable words the end of a connection in the middle of a form.
func unreadable(err error) error {
	if err == nil {
		return nil
	}
	if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
		return err
	}
	if _, ok := problem.As(err); ok {
		return err
	}
	return &problem.Error{Code: problem.Invalid, What: "The form did not arrive whole; what was missing is not kept.", Fix: "Send it again from the page.", Err: err}
}

// storePhoto keeps the bytes of a photo, unchanged, without holding them in
// memory. want is the SHA-256 that the sender computed; empty: none.
func (d *Desk) storePhoto(ctx context.Context, r io.Reader, name, want string) (t taken, err error) {
	head := bufio.NewReaderSize(r, 64<<10)
	first, err := head.Peek(picture.HeadBytes)
	if err != nil && err != io.EOF {
		return t, err
	}
	media := picture.TypeOf(first)
	if media == "" {
		return t, problem.New(problem.Invalid, "“"+name+"” is no photo that is known here; it was not kept.", "Choose a JPEG, PNG, WebP, HEIC or AVIF file. Its content counts, not its name.")
	}
	if err := d.Intake.Room(0); err != nil {
		return t, err
	}
	ref, err := d.Blobs.Put(ctx, &announced{r: head, sum: sha256.New(), want: strings.ToLower(want)}, present.MaxPhoto)
	if problem.Of(err) == problem.TooLarge {
		return t, problem.New(problem.TooLarge, fmt.Sprintf("“%s” is larger than %s, the most that is taken; it was not kept.", name, page.ShowBytes(present.MaxPhoto)),
			"Save it smaller, or take it with fewer pixels. The rest of the form is as you typed it.")
	}
	if err != nil {
		return t, err
	}
	f, _, err := d.Blobs.Open(ctx, ref.SHA256)
	if err != nil {
		return t, err
	}
	t.facts, err = picture.Read(f)
	t.bytes = record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RolePhoto, Media: media, Name: fitName(name)}
	return t, errors.Join(err, f.Close())
}

func fitName(name string) string {
	name = strings.ToValidUTF8(name, "_")
	for len(name) > 255 {
		_, n := utf8.DecodeLastRuneInString(name)
		name = name[:len(name)-n]
	}
	return name
}

// announced stops at the end of bytes that are not those that were announced.
type announced struct {
	r    io.Reader
	sum  hash.Hash
	want string
}

func (a *announced) Read(p []byte) (int, error) {
	n, err := a.r.Read(p)
	a.sum.Write(p[:n])
	if err == io.EOF && a.want != "" && fmt.Sprintf("%x", a.sum.Sum(nil)) != a.want {
		err = problem.New(problem.Conflict, "The photo did not arrive as it was sent; it was not kept.", "It is sent again.")
	}
	return n, err
}

// recorded is a photo that is on record.
type recordedPhoto struct {
	ID     uuid.UUID `json:"id"`
	SHA256 string    `json:"sha256"`
	Size   int64     `json:"size"`
	Again  bool      `json:"again"`           // it was there before
	Why    string    `json:"shown,omitempty"` // why it cannot be shown
}

// photosOfShot takes photos of a shot.
func (d *Desk) photosOfShot(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	row, err := d.read.Shot(c.Request().Context(), d.scope(), id)
	if err != nil {
		return err
	}
	return d.takePhotos(c, row.Lab, id, "", page.ShotPath(id.String())+"#photos")
}

// photosOfSpecimen takes photos of a specimen after no shot.
func (d *Desk) photosOfSpecimen(c echo.Context) error {
	name, err := httpkit.Text(c, "name")
	if err != nil {
		return err
	}
	name = strings.Join(strings.Fields(name), " ")
	return d.takePhotos(c, record.LabID{}, uuid.Nil, name, page.SpecimenPath(name)+"#photos")
}

func (d *Desk) takePhotos(c echo.Context, of record.LabID, shot uuid.UUID, specimen, back string) error {
	f, err := d.readForm(c)
	if err != nil {
		return err
	}
	inspection, _ := uuid.Parse(f.Get("inspection"))
	out, err := d.recordPhotos(c, of, shot, specimen, inspection, strings.TrimSpace(f.Get("note")), f.photos)
	if err != nil {
		return err
	}
	notices := append(f.refused, d.look(c.Request().Context(), out)...)
	if len(f.photos)+len(f.refused) == 0 {
		notices = []page.Notice{{Level: page.Warn, Text: "No photo was chosen.", Fix: "Choose a file, then add it."}}
	}
	status := http.StatusCreated
	if len(out) == 0 {
		status = http.StatusUnprocessableEntity
	}
	if httpkit.WantsJSON(c.Request()) {
		if status != http.StatusCreated {
			if f.first != nil {
				return f.first
			}
			return problem.New(problem.Invalid, notices[0].Text, notices[0].Fix)
		}
		return c.JSON(status, map[string]any{"photos": out})
	}
	if len(notices) == 0 {
		return httpkit.SeeOther(c, back)
	}
	return d.told(c, status, notices, back)
}

// told shows what became of photos where the page that they were sent from
// cannot be shown in the same answer.
func (d *Desk) told(c echo.Context, status int, notices []page.Notice, back string) error {
	p := page.PhotosTaken{Frame: d.frame(c, "Photos", page.PathShots), Back: back}
	p.Notices = append(notices, p.Notices...)
	return httpkit.Page(c, status, p)
}
