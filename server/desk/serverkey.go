package desk

import (
	"context"

	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// serverKey fills what administrators see of the server's own key.
func (d *Desk) serverKey(ctx context.Context, p *caller) (*page.ServerKey, error) {
	if !p.Administrator {
		return nil, nil
	}
	s, err := d.OwnKey.State(ctx)
	if err != nil {
		return nil, err
	}
	k := &page.ServerKey{Now: present.Fingerprint(s.Key), Heard: s.Heard, NotHeard: s.NotHeard, OpenCodes: s.OpenCodes}
	if s.Next == nil {
		k.Form = httpkit.Blank(nil, page.PostAnnounceKey, "announce", "Announce a new key")
	} else {
		k.Next = present.Fingerprint(s.Next)
		k.Form = httpkit.Blank(page.UseServerKeyFields(len(s.NotHeard) > 0), page.PostUseKey, "use", "Go on with the new key")
	}
	k.Form.Key = d.keys.get(p.ID, k.Form.Action)
	return k, nil
}

func (d *Desk) postAnnounceKey(c echo.Context) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		return done(page.PathAgents, "announced"), d.OwnKey.Announce(ctx)
	}, d.agentsAgain(page.PostAnnounceKey))
}

func (d *Desk) postUseKey(c echo.Context) error {
	return d.post(c, page.UseServerKeyFields(true), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		return done(page.PathAgents, "newkey"), d.OwnKey.Use(ctx, door.Of(c).Author(), f.Values["anyway"] != "")
	}, d.agentsAgain(page.PostUseKey))
}
