package desk

import (
	"context"
	"net/url"

	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// post runs a form for the person who is signed in.
func (d *Desk) post(c echo.Context, fields []page.Field, do func(context.Context, *httpkit.Filled) (string, error), again func(echo.Context, *httpkit.Filled, int) error) error {
	whom := door.Of(c).ID
	return d.once.Post(c, whom.String(), fields, do, again, func() { d.keys.drop(whom, c.Path()) })
}

// past reads when something was done, in the zone of the screens.
func (d *Desk) past(f *httpkit.Filled, field string) lab.Time {
	return lab.At(f.Past(field, d.Now().In(d.zone)))
}

// done is a path with the word for what was done, which the screen then says.
func done(path, what string) string { return path + "?" + url.Values{"done": {what}}.Encode() }

// said puts the outcome of the last form on the screen.
func said(c echo.Context, f *page.Frame, texts map[string]string) {
	if text, ok := texts[c.QueryParam("done")]; ok {
		f.Notices = append([]page.Notice{{Level: page.OK, Text: text}}, f.Notices...)
	}
}

// renamed puts the faults of one place at another.
func renamed(err error, from, to string) error {
	for _, p := range httpkit.Problems(err) {
		if p.Where == from {
			p.Where = to
		}
	}
	return err
}
