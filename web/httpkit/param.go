package httpkit

import (
	"net/url"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
)

// Text gives a parameter of the path that may be any text, as the name of a
// specimen with a stroke in it: a path that holds escapes is matched as it
// came, and so are its parameters.
func Text(c echo.Context, name string) (string, error) {
	s := c.Param(name)
	if c.Request().URL.RawPath == "" {
		return s, nil
	}
	s, err := url.PathUnescape(s)
	if err != nil {
		return "", problem.New(problem.Invalid, "The address cannot be read.", "Follow the link on the page, or write % as %25.")
	}
	return s, nil
}
