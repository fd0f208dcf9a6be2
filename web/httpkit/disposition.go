package httpkit

import (
	"fmt"
	"net/url"
	"strings"
)

// Disposition names a download after RFC 6266: a plain form for old clients,
// and the full name in the form of RFC 8187.
func Disposition(name string) string {
	plain := strings.Map(func(r rune) rune {
		if r < 0x20 || r > 0x7e || r == '"' || r == '\\' || r == '/' {
			return '_'
		}
		return r
	}, name)
	if plain == name {
		return fmt.Sprintf(`attachment; filename="%s"`, plain)
	}
	full := strings.NewReplacer("+", "%20", "%7E", "~").Replace(url.QueryEscape(strings.ToValidUTF8(name, "_")))
	return fmt.Sprintf(`attachment; filename="%s"; filename*=UTF-8''%s`, plain, full)
}
