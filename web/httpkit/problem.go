package httpkit

import (
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/metrics/fault"
	"thudbook/sync/problem"
	"thudbook/web/page"
)

// Body is the JSON body of every error answer.
type Body struct {
	Error     Detail `json:"error"`
	RequestID string `json:"request_id,omitempty"`
}

// Detail is the error itself. Line and Column count from 1; what does not
// apply is left out.
type Detail struct {
	Code    string `json:"code"`
	What    string `json:"what"`
	Where   string `json:"where,omitempty"`
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Channel string `json:"channel,omitempty"`
	Fix     string `json:"fix,omitempty"`
}

// Status is the HTTP status of a problem's code.
func Status(code problem.Code) int { return problem.Status(code) }

// Describe turns an error into a status and the words that may be shown. What
// carries no code becomes one neutral sentence.
func Describe(err error) (int, Detail) {
	if p, ok := problem.As(err); ok {
		return Status(p.Code), Detail{Code: string(p.Code), What: p.What, Where: p.Where, Fix: p.Fix}
	}
	if f, ok := fault.As(err); ok {
		return http.StatusUnprocessableEntity, Detail{Code: string(f.Code), What: f.What, Line: f.Line, Column: f.Column, Channel: f.Channel, Fix: f.Fix}
	}
	if m, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return http.StatusRequestEntityTooLarge, Detail{Code: string(problem.TooLarge),
			What: fmt.Sprintf("The request is larger than the %s allowed here.", page.ShowBytes(m.Limit)), Fix: "Send less at once."}
	}
	if h, ok := errors.AsType[*echo.HTTPError](err); ok {
		return h.Code, echoDetail(h)
	}
	return http.StatusInternalServerError, Detail{Code: string(problem.Internal), What: "Something went wrong inside Thudbook.",
		Fix: "Try again. If it happens again, look in the log for the request's number."}
}

// echoDetail words the errors that echo makes itself.
func echoDetail(h *echo.HTTPError) Detail {
	switch h.Code {
	case http.StatusNotFound:
		return Detail{Code: string(problem.NotFound), What: "There is nothing at this address.", Fix: "Check the address, or start from the overview."}
	case http.StatusMethodNotAllowed:
		return Detail{Code: "method_not_allowed", What: "This address does not take that kind of request.", Fix: "Go back and use the form or link on the page."}
	case http.StatusUnauthorized:
		return Detail{Code: string(problem.Unauthenticated), What: "You are not signed in.", Fix: "Sign in, then try again."}
	case http.StatusForbidden:
		return Detail{Code: string(problem.Forbidden), What: "You have no right to this.", Fix: "Ask an administrator for the role."}
	case http.StatusInternalServerError:
		return Detail{Code: string(problem.Internal), What: "Something went wrong inside Thudbook.", Fix: "Try again. If it happens again, look in the log for the request's number."}
	}
	code := string(problem.Invalid)
	if h.Code >= 500 {
		code = string(problem.Internal)
	}
	return Detail{Code: code, What: fmt.Sprint(h.Message)}
}

// errorHandler answers every error of a handler. After the answer began it can
// only log.
func errorHandler(o Options) echo.HTTPErrorHandler {
	return func(err error, c echo.Context) {
		id := c.Response().Header().Get(echo.HeaderXRequestID)
		if c.Response().Committed {
			o.Log.Warn("failed after the answer began", "path", logPath(c), "request_id", id, "error", err)
			return
		}
		status, d := Describe(err)
		if status >= 500 {
			o.Log.Error("request failed", "path", logPath(c), "request_id", id, "status", status, "error", err)
		} else {
			o.Log.Debug("request refused", "path", logPath(c), "request_id", id, "status", status, "error", err)
		}
		if sent := sendProblem(c, o, status, d, id, err); sent != nil {
			o.Log.Warn("the error could not be sent", "path", logPath(c), "request_id", id, "error", sent)
		}
	}
}

func sendProblem(c echo.Context, o Options, status int, d Detail, id string, err error) error {
	if status == http.StatusServiceUnavailable {
		c.Response().Header().Set(echo.HeaderRetryAfter, "30")
	}
	if c.Request().Method == http.MethodHead {
		return c.NoContent(status)
	}
	if WantsJSON(c.Request()) {
		return c.JSON(status, Body{Error: d, RequestID: id})
	}
	f := page.Frame{}
	if o.Frame != nil {
		f = safeFrame(o, c)
	}
	f.Title = "Error"
	text, href := leadOf(err)
	return Page(c, status, page.Problem{Frame: f, Status: status, What: d.What, Where: where(d), Fix: d.Fix, ID: id, Link: text, Href: href})
}

// safeFrame keeps an error screen alive when the frame itself cannot be made.
func safeFrame(o Options, c echo.Context) (f page.Frame) {
	defer func() {
		if r := recover(); r != nil {
			o.Log.Error("frame of the error screen failed", "panic", fmt.Sprint(r))
			f = page.Frame{}
		}
	}()
	return o.Frame(c)
}

func where(d Detail) string {
	if d.Where != "" {
		return PlaceWords(d.Where)
	}
	f := fault.Error{Line: d.Line, Column: d.Column, Channel: d.Channel}
	return f.Place()
}

// WantsJSON tells whether an error should be answered as JSON: below /api/,
// and where the caller asks for JSON and not for a page.
func WantsJSON(r *http.Request) bool {
	if strings.HasPrefix(r.URL.Path, "/api/") {
		return true
	}
	accept := r.Header.Get(echo.HeaderAccept)
	return strings.Contains(accept, "application/json") && !strings.Contains(accept, "text/html")
}

// recoverPanics turns a panic into an internal error with its stack in the log.
func recoverPanics(log *slog.Logger) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) (err error) {
			defer func() {
				r := recover()
				if r == nil {
					return
				}
				if e, ok := r.(error); ok && errors.Is(e, http.ErrAbortHandler) {
					panic(r)
				}
				log.Error("handler panicked", "path", logPath(c), "panic", fmt.Sprint(r), "stack", stack())
				err = fmt.Errorf("panic: %v", r)
			}()
			return next(c)
		}
	}
}
