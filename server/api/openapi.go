package api

import (
	_ "embed"
	"net/http"

	"github.com/labstack/echo/v4"
)

//go:embed openapi.json
var description []byte

func openAPI(c echo.Context) error { return c.JSONBlob(http.StatusOK, description) }
