package present

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/picture"
)

// MaxPhoto bounds the bytes of one photo.
const MaxPhoto = 64_000_000

// Photos shows photos.
type Photos struct {
	Read  *view.Reader
	Blobs func(record.LabID) blob.Store // the bytes that a lab holds
	Cache *picture.Cache
}

// Of gives the photos of a shot, or with the zero shot those of a specimen
// alone. With an inspection only those taken while it was made.
func (s *Photos) Of(ctx context.Context, sc scope.Scope, shot uuid.UUID, specimen string, inspection uuid.UUID) ([]page.Photo, error) {
	rows, err := s.Read.Photos(ctx, sc, shot, specimen)
	if err != nil {
		return nil, err
	}
	var out []page.Photo
	for i := range rows {
		if inspection != uuid.Nil && rows[i].Photo.Inspection != inspection {
			continue
		}
		p, err := s.one(ctx, &rows[i])
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// Fill adds the photos to a specimen's history.
func (s *Photos) Fill(ctx context.Context, sc scope.Scope, h *History, p *page.Specimen) (err error) {
	for i := range p.Hits {
		shot, err := uuid.Parse(p.Hits[i].Shot.ID)
		if err != nil {
			continue // no file came of it, so there is no shot that has photos
		}
		if p.Hits[i].Photos, err = s.Of(ctx, sc, shot, "", uuid.Nil); err != nil {
			return err
		}
	}
	p.Photos, err = s.Of(ctx, sc, uuid.Nil, h.Name, uuid.Nil)
	return err
}

func (s *Photos) one(ctx context.Context, r *view.PhotoRow) (page.Photo, error) {
	id := r.ID.String()
	p := page.Photo{Name: PhotoName(r), Href: page.PhotoPath(id), Small: page.PhotoSmallPath(id)}
	p.ID, p.During = id, idText(r.Photo.Inspection)
	has, _, err := s.Blobs(r.Lab).Has(ctx, r.Photo.SHA256)
	if err != nil && problem.Of(err) != problem.NotFound {
		return p, err
	}
	media := picture.Facts{Media: r.Bytes.Media, Width: 1, Height: 1}
	switch bad := s.Cache.Why(r.Photo.SHA256); {
	case !has:
		p.Small, p.Absent = "", "its bytes are not here yet"
	case bad != nil || media.Drawable() != nil:
		p.Small, p.Absent = "", "kept, cannot be shown here"
	}
	return p, nil
}

// PhotoName is what a photo is called.
func PhotoName(r *view.PhotoRow) string {
	return cmp.Or(r.Bytes.Name, "photo "+r.Photo.SHA256.String()[:8])
}

// Open opens the bytes of a photo.
func (s *Photos) Open(ctx context.Context, r *view.PhotoRow) (io.ReadSeekCloser, error) {
	f, _, err := s.Blobs(r.Lab).Open(ctx, r.Photo.SHA256)
	return f, err
}

// Copy gives a copy for the screen.
func (s *Photos) Copy(ctx context.Context, r *view.PhotoRow, edge int) ([]byte, error) {
	if has, _, err := s.Blobs(r.Lab).Has(ctx, r.Photo.SHA256); err != nil || !has {
		return nil, cmp.Or(err, error(problem.New(problem.NotFound, "The bytes of this photo are not here yet.", "They come by themselves the next time the rig's agent reaches this server.")))
	}
	return s.Cache.Get(ctx, r.Photo.SHA256, edge, func() (io.ReadSeekCloser, error) { return s.Open(ctx, r) })
}

// Screen fills the screen of one photo; the caller adds the frame, and what
// only one of the two programs knows.
func (s *Photos) Screen(ctx context.Context, r *view.PhotoRow, zone *time.Location, who func(string) string) (p page.PhotoScreen, err error) {
	id := r.ID.String()
	p = page.PhotoScreen{Name: PhotoName(r), Type: picture.Name(r.Bytes.Media), Size: page.ShowBytes(r.Bytes.Size), Arrived: r.Photo.EffectiveAt.Time().In(zone),
		By: Who(r.Author, who), Note: r.Photo.Note, SHA256: r.Photo.SHA256.String()}
	if r.Withdrawn != nil {
		p.TakenOff = r.Withdrawn.Reason + by(who, r.Withdrawn.Author)
	}
	p.Camera, p.Clock, p.ClockFar = cameraClock(r.Photo.CameraTime, p.Arrived)
	f, err := s.Open(ctx, r)
	if problem.Of(err) == problem.NotFound && err != nil {
		p.Absent = "The bytes are still on the rig PC; they come by themselves."
		return p, nil
	}
	if err != nil {
		return p, err
	}
	defer f.Close()
	facts, err := picture.Read(f)
	if err != nil {
		return p, err
	}
	p.Original, p.Large, p.Position = page.PhotoOriginalPath(id), page.PhotoLargePath(id), facts.Position
	if facts.Width > 0 {
		p.Pixels = fmt.Sprintf("%d × %d pixels", facts.Width, facts.Height)
	}
	why := facts.Drawable()
	if bad := s.Cache.Why(r.Photo.SHA256); bad != nil {
		why = bad
	}
	if bad, ok := problem.As(why); ok && why != nil {
		p.Large, p.Why = "", bad.What+" "+bad.Fix
	}
	return p, nil
}

// cameraFar is how far the camera's clock may be from the arrival without a word.
const cameraFar = 10 * time.Minute

// cameraClock says how far the time of a camera is from the arrival. A camera
// that names no zone is taken to be in that of the screen.
func cameraClock(text string, arrived time.Time) (shown, diff string, far bool) {
	if text == "" {
		return "", "", false
	}
	at, err := time.Parse("2006-01-02T15:04:05-07:00", text)
	if err != nil {
		if at, err = time.ParseInLocation("2006-01-02T15:04:05", text, arrived.Location()); err != nil {
			return text, "which is no date", true
		}
	}
	shown = page.ShowMoment(at.In(arrived.Location()))
	d := arrived.Sub(at).Round(time.Second)
	switch {
	case d >= 0 && d <= cameraFar:
		return shown, page.ShowAge(d) + " before it arrived", false
	case d > cameraFar:
		return shown, page.ShowAge(d) + " before it arrived: the photo waited, or one of the two clocks is wrong", true
	case d > -time.Minute:
		return shown, "as it arrived", false
	}
	return shown, page.ShowAge(-d) + " after it arrived: one of the two clocks is wrong", true
}

// AddPhotos is the form that takes photos of a shot or a specimen.
func AddPhotos(action, of string) *page.PhotoForm {
	return &page.PhotoForm{Action: action, Of: of, Most: MaxPhoto}
}

// PhotoOf says what a photo belongs to, as links.
func PhotoOf(ctx context.Context, v *view.Reader, sc scope.Scope, r *view.PhotoRow, zone *time.Location) (of []page.Choice, err error) {
	specimen := r.Photo.Specimen
	if r.Photo.Shot != uuid.Nil {
		row, err := v.Shot(ctx, sc, r.Photo.Shot)
		if err != nil {
			return nil, err
		}
		of = append(of, page.Choice{Value: page.ShotPath(row.ID.String()), Text: "shot of " + page.ShowMoment(row.Shot.EffectiveAt.Time().In(zone))})
		specimen = row.Shot.Specimen
	}
	if specimen != "" {
		of = append(of, page.Choice{Value: page.SpecimenPath(specimen), Text: specimen})
	}
	return of, nil
}

// PhotoJSON is one photo as the API gives it.
type PhotoJSON struct {
	ID         uuid.UUID  `json:"id"`
	Shot       *uuid.UUID `json:"shot"`
	Specimen   string     `json:"specimen,omitempty"`
	Inspection *uuid.UUID `json:"inspection"`
	SHA256     string     `json:"sha256"`
	Size       int64      `json:"size"`
	Media      string     `json:"media"`
	Name       string     `json:"name"`
	CameraTime string     `json:"camera_time,omitempty"`
	ArrivedAt  lab.Time   `json:"arrived_at"`
	Note       string     `json:"note,omitempty"`
	Author     string     `json:"author"`
	Original   string     `json:"original"`
}

// PhotoList is the photos of a shot for the API.
func PhotoList(rows []view.PhotoRow) map[string][]PhotoJSON {
	out := make([]PhotoJSON, 0, len(rows))
	for i := range rows {
		r := &rows[i]
		b := &r.Photo
		out = append(out, PhotoJSON{ID: r.ID, Shot: idOrNull(b.Shot), Specimen: b.Specimen, Inspection: idOrNull(b.Inspection), SHA256: b.SHA256.String(), Size: r.Bytes.Size, Media: r.Bytes.Media,
			Name: r.Bytes.Name, CameraTime: b.CameraTime, ArrivedAt: b.EffectiveAt, Note: b.Note, Author: r.Author, Original: page.PhotoOriginalPath(r.ID.String())})
	}
	return map[string][]PhotoJSON{"photos": out}
}
