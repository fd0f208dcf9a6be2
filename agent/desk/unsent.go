package desk

import (
	"mime"
	"net/http"
	"net/url"
	"slices"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// How long a form is kept that was refused because nobody was signed in, and how
// much of it.
const (
	unsentFor  = 15 * time.Minute
	unsentMost = 64 << 10 // bytes of the encoded form
)

// unsents keep, by seat, the last form that was refused because nobody was signed in.
// They live as long as the program.
type unsents struct {
	mu  sync.Mutex
	all map[string]unsent
}

type unsent struct {
	path, back string // where it posts to, and the screen that it came from
	values     url.Values
	at         time.Time
}

// keep keeps the form of a request, and says whether it could.
func (u *unsents) keep(seat, back string, r *http.Request) bool {
	media, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	if err != nil || media != echo.MIMEApplicationForm || r.ContentLength > unsentMost || r.ParseForm() != nil || len(r.PostForm.Encode()) > unsentMost {
		return false
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.all == nil {
		u.all = map[string]unsent{}
	}
	u.all[seat] = unsent{path: r.URL.Path, back: back, values: r.PostForm, at: time.Now()}
	return true
}

// of is the form that is kept for a seat, if there is one.
func (u *unsents) of(seat string) (unsent, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	x, ok := u.all[seat]
	if ok && time.Since(x.at) > unsentFor {
		delete(u.all, seat)
		return unsent{}, false
	}
	return x, ok
}

// sent forgets the form of a seat when one is sent to its path.
func (u *unsents) sent(seat, path string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.all[seat].path == path {
		delete(u.all, seat)
	}
}

// unsent shows whoever has signed in what was typed before, to be sent.
func (d *Desk) unsent(c echo.Context) error {
	x, ok := d.unsents.of(seat(c))
	if !ok || d.shiftOf(c).Person == nil {
		return httpkit.SeeOther(c, page.PathHome)
	}
	p := page.Unsent{Frame: d.frame(c, "Not sent yet", page.PathPeople), Action: x.path, Back: x.back}
	names := make([]string, 0, len(x.values))
	for name := range x.values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		for _, value := range x.values[name] {
			p.Hidden = append(p.Hidden, page.UnsentValue{Name: name, Value: value})
			if value != "" && !hiddenField(name) {
				p.Typed = append(p.Typed, page.UnsentValue{Name: present.FieldWords(name), Value: value})
			}
		}
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// hiddenField says that nobody typed a field.
func hiddenField(name string) bool {
	return slices.Contains([]string{page.KeyField, page.SeenField, page.UnitField, page.BackField, "id", "shot", "expected", "entry", "inspection", "item"}, name)
}
