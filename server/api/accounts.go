package api

import (
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/server/door"
	"thudbook/sync/lab"
)

type accountAnswer struct {
	ID            uuid.UUID       `json:"id"`
	Login         string          `json:"login"`
	Name          string          `json:"name"`
	Administrator bool            `json:"administrator"`
	Grants        []account.Grant `json:"grants"`
	Disabled      bool            `json:"disabled"`
	Created       lab.Time        `json:"created"`
}

func (a *API) accounts(c echo.Context) error {
	all, err := a.Accounts.List(c.Request().Context())
	if err != nil {
		return err
	}
	out := make([]accountAnswer, 0, len(all))
	for _, x := range all {
		out = append(out, accountAnswer{ID: x.ID, Login: x.Login, Name: x.Name, Administrator: x.Administrator,
			Grants: append([]account.Grant{}, x.Grants...), Disabled: x.Disabled, Created: lab.At(x.Created)})
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) newAccount(c echo.Context) error {
	var q struct {
		Login         string          `json:"login"`
		Name          string          `json:"name"`
		Password      string          `json:"password"`
		Administrator bool            `json:"administrator"`
		Grants        []account.Grant `json:"grants"`
	}
	if err := read(c, &q); err != nil {
		return err
	}
	ctx, p := c.Request().Context(), door.Of(c)
	for _, g := range q.Grants {
		if _, err := a.Roster.Find(ctx, p.Scope, g.Lab.String()); err != nil {
			return err
		}
	}
	made, err := a.Accounts.Create(ctx, account.Draft{Login: q.Login, Name: q.Name, Password: q.Password,
		Administrator: q.Administrator, Grants: q.Grants}, p.Author())
	if err != nil {
		return whole(err)
	}
	return created(c, made.ID, "/api/v1/accounts")
}
