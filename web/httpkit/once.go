package httpkit

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/page"
)

// mostOnces is how many forms are remembered as carried out.
const mostOnces = 2000

// Onces carries a form out once, however often it is sent: a second press of
// the button waits for the first and goes where that one goes. What failed may
// be tried again under the same key. It is forgotten when the program restarts.
type Onces struct {
	mu    sync.Mutex
	runs  map[string]*run
	order []string
}

type run struct {
	done chan struct{}
	to   string
	err  error
}

// errBroken is what a second press gets when the first broke off.
var errBroken = errors.New("the form that was sent first broke off")

// NewOnces remembers nothing yet.
func NewOnces() *Onces { return &Onces{runs: map[string]*run{}} }

func (o *Onces) do(ctx context.Context, key string, keyed bool, f func(context.Context) (string, error)) (string, error) {
	if !keyed {
		return f(ctx)
	}
	o.mu.Lock()
	r, known := o.runs[key]
	if !known {
		r = &run{done: make(chan struct{})}
		o.remember(key, r)
	}
	o.mu.Unlock()
	if known {
		select {
		case <-r.done:
			return r.to, r.err
		case <-ctx.Done():
			return "", context.Cause(ctx)
		}
	}
	r.err = errBroken // stands when f panics
	defer func() {
		if r.err != nil {
			o.mu.Lock()
			delete(o.runs, key)
			o.mu.Unlock()
		}
		close(r.done)
	}()
	// The browser may have gone for the second press: what was begun is finished.
	r.to, r.err = f(context.WithoutCancel(ctx))
	return r.to, r.err
}

func (o *Onces) remember(key string, r *run) {
	if len(o.order) >= mostOnces {
		delete(o.runs, o.order[0])
		o.order = o.order[1:]
	}
	o.runs[key] = r
	o.order = append(o.order, key)
}

// NewKey is the key under which a form is carried out once.
func NewKey() string { return rand.Text() }

// Blank is a form that was not filled yet.
func Blank(fields []page.Field, action, id, submit string) page.Form {
	return page.Form{Action: action, Key: NewKey(), Fields: fields, ID: id, Submit: submit}
}

// Post runs a form: do reads the values, writes, and says where to go then. Its
// faults of the input are shown by again, on the same screen, with what was
// typed. The same values under the same key of the same person are carried out
// once. done, which may be nil, is told when the form was carried out.
func (o *Onces) Post(c echo.Context, whom string, fields []page.Field, do func(context.Context, *Filled) (string, error), again func(echo.Context, *Filled, int) error, done func()) error {
	if err := c.Request().ParseForm(); err != nil {
		if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return tooLarge
		}
		return &problem.Error{Code: problem.Invalid, What: "The form cannot be read.", Fix: "Go back, reload the page and fill it in again.", Err: err}
	}
	posted := c.Request().PostForm
	f := &Filled{Fields: fields, Key: posted.Get(page.KeyField), Values: page.Typed(posted, fields), Errors: map[string]string{}}
	sum := sha256.Sum256([]byte(posted.Encode()))
	to, err := o.do(c.Request().Context(), whom+" "+c.Request().URL.Path+" "+string(sum[:]), f.Key != "", func(ctx context.Context) (string, error) {
		f.Need()
		to, err := do(ctx, f)
		if err == nil && len(f.Errors) > 0 {
			err = problem.New(problem.Invalid, "The form is not complete.", "Mend what is marked.")
		}
		return to, err
	})
	if err == nil {
		if done != nil {
			done()
		}
		return SeeOther(c, to)
	}
	status, ok := f.Take(err)
	if !ok {
		return err
	}
	return again(c, f, status)
}
