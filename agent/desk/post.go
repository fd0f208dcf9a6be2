package desk

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/metrics/fault"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
)

// maxPart bounds the parts of a post beside the file.
const maxPart = 1 << 20

// takenBody answers a post.
type takenBody struct {
	ID        uuid.UUID  `json:"id"`
	SHA256    string     `json:"sha256"`
	SeenAgain bool       `json:"seen_again,omitempty"`
	Flags     []lab.Flag `json:"flags,omitempty"`
	Error     *lab.Fault `json:"error,omitempty"`
}

// postShot takes a shot in. It answers 201 or 200 only when the shot is durable.
func (d *Desk) postShot(c echo.Context) error {
	ctx := c.Request().Context()
	if err := d.Intake.Trouble(); err != nil {
		return err
	}
	if err := d.Intake.Room(max(c.Request().ContentLength, 0)); err != nil {
		return err
	}
	s, err := d.readPost(c)
	if err != nil {
		return err
	}
	if s.Map == nil {
		if s.Map, err = d.Intake.MapForPosts(); err != nil {
			s.MapTrouble(err)
		}
	}
	out, err := d.Intake.Submit(ctx, s)
	if err != nil {
		return err
	}
	body := takenBody{ID: out.ID, SHA256: s.Ref.SHA256.String(), SeenAgain: out.Status == intake.SeenAgain, Error: out.Error}
	if out.Score != nil {
		body.Flags = out.Score.Flags
	}
	if out.Status == intake.Taken {
		more, err := d.read.RigFlags(ctx, d.scope(), out.ID)
		if err != nil { // it is taken in all the same
			d.Log.Error("flags of a new shot", "shot", out.ID, "error", err)
		}
		body.Flags = append(slices.Clone(body.Flags), more...)
	}
	location := "/api/v1/shots/" + out.ID.String()
	switch out.Status {
	case intake.Taken:
		c.Response().Header().Set(echo.HeaderLocation, location)
		return c.JSON(http.StatusCreated, body)
	case intake.Quarantined:
		return c.JSON(http.StatusUnprocessableEntity, refusal(c, out))
	default:
		c.Response().Header().Set(echo.HeaderLocation, location)
		return c.JSON(http.StatusOK, body)
	}
}

type refusalBody struct {
	httpkit.Body
	Quarantine uuid.UUID `json:"quarantine"`
}

// refusal answers bytes in which nothing can be read; they are kept.
func refusal(c echo.Context, out intake.Outcome) refusalBody {
	f := out.Error
	return refusalBody{Quarantine: out.ID, Body: httpkit.Body{RequestID: c.Response().Header().Get(echo.HeaderXRequestID),
		Error: httpkit.Detail{Code: f.Code, What: f.What, Line: f.Line, Column: f.Column, Channel: f.Channel, Fix: f.Fix}}}
}

// readPost reads the parts in the order in which they come; the file goes to
// the store as it arrives.
func (d *Desk) readPost(c echo.Context) (s intake.Submission, err error) {
	parts, err := c.Request().MultipartReader()
	if err != nil {
		return s, &problem.Error{Code: problem.Invalid, What: "The request is not of type multipart/form-data.",
			Fix: `Send the file as the part "file", as with: curl -F file=@shot.csv -F meta=@shot.csv.meta.json ADDRESS/api/v1/shots`, Err: err}
	}
	found := false
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return s, cut(err)
		}
		if err := d.readPart(c, part, &s, &found); err != nil {
			return s, cut(err)
		}
	}
	if !found {
		return s, problem.New(problem.Invalid, `The request has no part "file".`, `Send the acquisition's file as the part "file".`)
	}
	return s, nil
}

func (d *Desk) readPart(c echo.Context, part *multipart.Part, s *intake.Submission, found *bool) (err error) {
	switch part.FormName() {
	case "file":
		if *found {
			return problem.New(problem.Invalid, `The request has the part "file" twice.`, "Send each shot in a request of its own.")
		}
		*found = true
		s.Name = plainName(part.FileName())
		s.Ref, err = d.Intake.Put(c.Request().Context(), part, -1)
	case "meta":
		s.Meta, err = small(part, "meta")
	case "map":
		var b []byte
		if b, err = small(part, "map"); err == nil {
			s.Map, err = intake.ParseMap(mapName(part.FileName()), b)
		}
	default:
		return problem.New(problem.Invalid, fmt.Sprintf("The request has a part %q, which means nothing here.", part.FormName()),
			`The parts are "file", "meta" and "map".`)
	}
	return err
}

func small(r io.Reader, name string) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxPart+1))
	if err == nil && len(b) > maxPart {
		err = problem.New(problem.TooLarge, fmt.Sprintf("The part %q is larger than 1 MB.", name), "Send a short text; files belong into the part \"file\".")
	}
	return b, err
}

// cut words the end of a connection in the middle of a request.
func cut(err error) error {
	_, isProblem := problem.As(err)
	_, isFault := fault.As(err)
	_, tooLarge := errors.AsType[*http.MaxBytesError](err)
	if isProblem || isFault || tooLarge {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || strings.Contains(err.Error(), "multipart") {
		return &problem.Error{Code: problem.Invalid, What: "The request ended in the middle of a part; nothing was taken in.",
			Fix: "Send it again; the same file may be sent as often as needed.", Err: err}
	}
	return err
}

// plainName is the file's name without any folder, whatever system it came from.
func plainName(name string) string {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	if name == "" {
		return "posted without a name"
	}
	return name
}

func mapName(name string) string {
	if n := plainName(name); name != "" {
		return n
	}
	return intake.MapName
}
