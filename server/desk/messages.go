package desk

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/tell"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// messageRoutes adds the screens about what the server tells by itself.
func (d *Desk) messageRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathDigest, d.digest, in)
	e.GET(page.PathMessages, func(c echo.Context) error { return d.messagesPage(c, "", nil, http.StatusOK) }, in)
	e.POST(page.PostAddress, func(c echo.Context) error { return d.addAddress(c, page.PostAddress, page.AddressFields()) }, in)
	e.POST(page.PostWebhook, func(c echo.Context) error { return d.addAddress(c, page.PostWebhook, page.WebhookFields()) }, in)
	e.POST(page.PostOffMessages, d.offMessages, in)
	e.POST(page.PostTrial, d.trialMessage, in)
	e.POST(page.PostNewSecret, d.newSecret, in)
	e.POST(page.PostSendAgain, d.sendAgain, in)
}

// defaultDigestHour is when a digest is sent where nobody set an hour.
const defaultDigestHour = 7

func (d *Desk) messagesPage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Messages{Frame: d.frame(&p, "Messages", page.PathHealth), NoLinks: d.Tell.PublicURL == ""}
	if d.Tell.Mail.Server == "" {
		s.Mail = "This server has no mail server to send by, so mail waits. An administrator sets mail-server and mail-from in the file of settings."
	}
	if ticket := c.QueryParam("secret"); ticket != "" {
		if m, ok := d.codes.take(ticket, p.ID); ok {
			s.Secret = m.code
			c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
		}
	}
	said(c, &s.Frame, map[string]string{"added": "The address was added.", "off": "The address was removed.", "trial": "A trial message is on its way. Its state shows in a moment.", "again": "It is tried now."})
	all, err := d.Tell.Subscribers(ctx)
	if err != nil {
		return err
	}
	labs := p.keeps()
	for i := range labs {
		l := page.MessageLab{}
		if len(labs) > 1 {
			l.Name = labs[i].Title()
		}
		for j := range all {
			if all[j].Lab != labs[i].ID {
				continue
			}
			row, err := d.messageRow(ctx, &all[j])
			if err != nil {
				return err
			}
			l.Rows = append(l.Rows, row)
		}
		s.Labs = append(s.Labs, l)
	}
	if len(labs) > 0 {
		s.Address = httpkit.Blank(page.AddressFields(), page.PostAddress, "address", "Add the address")
		s.Webhook = httpkit.Blank(page.WebhookFields(), page.PostWebhook, "webhook", "Add the webhook")
		for _, f := range []*page.Form{&s.Address, &s.Webhook} {
			f.Choices, f.Values = map[string][]page.Choice{"lab": choices(labs)}, map[string]string{"due": "yes", "alarms": "yes"}
			if f.Action == posted && typed != nil {
				typed.Into(f)
			}
		}
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

// shownMessages is how many of an address are listed.
const shownMessages = 20

func (d *Desk) messageRow(ctx context.Context, s *tell.Subscriber) (page.MessageRow, error) {
	row := page.MessageRow{ID: s.ID.String(), To: s.To, Hook: s.Hook(), What: whatOf(s), State: page.Status{Level: page.Plain, Word: "nothing sent yet"}, Key: httpkit.NewKey()}
	all, err := d.Tell.Messages(ctx, s.ID)
	for i := range all[:min(len(all), shownMessages)] {
		m := &all[i]
		x := page.MessageSent{ID: m.ID.String(), Subject: m.Subject, Made: m.Made.In(d.zone), Failed: m.Failed, Lost: m.GivenUp}
		switch {
		case !m.Sent.IsZero():
			x.State = page.Status{Level: page.OK, Word: "delivered"}
		case m.GivenUp:
			x.State = page.Status{Level: page.Bad, Word: "given up after " + strconv.Itoa(m.Tries) + " tries"}
		case m.Failed != "":
			x.State, x.Next = page.Status{Level: page.Warn, Word: "failed, tried again"}, m.Next.In(d.zone)
		default:
			x.State = page.Status{Level: page.Plain, Word: "waiting"}
		}
		if i == 0 {
			row.State, row.Failed = x.State, x.Failed
		}
		row.Last = append(row.Last, x)
	}
	return row, err
}

func whatOf(s *tell.Subscriber) string {
	text := ""
	add := func(on bool, what string) {
		if on && text != "" {
			text += ", "
		}
		if on {
			text += what
		}
	}
	add(s.Due, "what is due")
	add(s.Alarms, "alarms")
	if s.Digest {
		add(true, fmt.Sprintf("the digest at %d:00", s.Hour))
		if s.Zone != "" {
			text += " " + s.Zone
		}
	}
	return text
}

func (d *Desk) addAddress(c echo.Context, path string, fields []page.Field) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		in, err := d.place(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, in.ID); err != nil {
			return "", err
		}
		s := tell.Subscriber{Lab: in.ID, To: f.Values["to"], Due: f.Values["due"] != "", Alarms: f.Values["alarms"] != "", Digest: f.Values["digest"] != "", Always: f.Values["always"] != "",
			Hour: defaultDigestHour, Zone: f.Values["zone"], By: p.Author()}
		if f.Values["hour"] != "" {
			s.Hour = int(f.Count("hour"))
		}
		if s.Hook() != (path == page.PostWebhook) {
			f.Fault("to", "This address belongs into the other form.")
		}
		if !f.OK() {
			return "", nil
		}
		secret, err := d.Tell.Add(ctx, s)
		if err != nil {
			return "", err
		}
		d.Tell.Wake()
		return d.secretOnce(&p, secret, "added"), nil
	}, func(c echo.Context, f *httpkit.Filled, status int) error { return d.messagesPage(c, path, f, status) })
}

// secretOnce leads to the screen that shows a secret once.
func (d *Desk) secretOnce(p *caller, secret, what string) string {
	to := done(page.PathMessages, what)
	if secret != "" {
		to += "&secret=" + d.codes.put(madeCode{by: p.ID, code: secret, until: d.Now().Add(time.Minute)})
	}
	return to
}

// aboutAddress does something with an address of a lab that the caller keeps.
func (d *Desk) aboutAddress(c echo.Context, do func(context.Context, *caller, *tell.Subscriber) (string, error)) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		id, err := uuid.Parse(c.FormValue("id"))
		if err != nil {
			return "", notFound("address")
		}
		s, err := d.Tell.Find(ctx, id)
		if err != nil {
			return "", err
		}
		if !p.Scope.Allows(s.Lab) {
			return "", notFound("address")
		}
		if err := register.MayKeep(p.Principal, s.Lab); err != nil {
			return "", err
		}
		return do(ctx, &p, &s)
	}, func(c echo.Context, f *httpkit.Filled, status int) error { return d.messagesPage(c, "", f, status) })
}

func (d *Desk) offMessages(c echo.Context) error {
	return d.aboutAddress(c, func(ctx context.Context, _ *caller, s *tell.Subscriber) (string, error) {
		return done(page.PathMessages, "off"), d.Tell.Remove(ctx, s.ID)
	})
}

func (d *Desk) trialMessage(c echo.Context) error {
	return d.aboutAddress(c, func(ctx context.Context, p *caller, s *tell.Subscriber) (string, error) {
		name, err := p.names.Of(ctx, s.Lab)
		if err != nil {
			return "", err
		}
		return done(page.PathMessages, "trial"), d.Tell.Try(ctx, s, name)
	})
}

func (d *Desk) newSecret(c echo.Context) error {
	return d.aboutAddress(c, func(ctx context.Context, p *caller, s *tell.Subscriber) (string, error) {
		if !s.Hook() {
			return "", notFound("webhook")
		}
		secret, err := d.Tell.Renew(ctx, s.ID)
		return d.secretOnce(p, secret, "secret"), err
	})
}

func (d *Desk) sendAgain(c echo.Context) error {
	return d.aboutAddress(c, func(ctx context.Context, _ *caller, s *tell.Subscriber) (string, error) {
		id, err := uuid.Parse(c.FormValue("message"))
		if err != nil {
			return "", notFound("message")
		}
		return done(page.PathMessages, "again"), d.Tell.Again(ctx, s.ID, id)
	})
}
