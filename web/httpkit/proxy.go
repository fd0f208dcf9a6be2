package httpkit

import (
	"net"
	"net/http"
	"net/netip"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
)

// ParseProxies reads addresses and networks, as in 192.0.2.7 or 192.0.2.0/24.
func ParseProxies(texts []string) ([]netip.Prefix, error) {
	var all []netip.Prefix
	for _, t := range texts {
		p, err := netip.ParsePrefix(t)
		if a, e := netip.ParseAddr(t); e == nil {
			p, err = netip.PrefixFrom(a.Unmap(), a.Unmap().BitLen()), nil
		}
		if err != nil {
			return nil, &problem.Error{Code: problem.Invalid, What: "The proxy " + t + " is neither an address nor a network.",
				Fix: "Write it as 192.0.2.7 or as 192.0.2.0/24: where the proxy's connections come from.", Err: err}
		}
		if p.Bits() == 0 {
			return nil, problem.New(problem.Invalid, "The network "+t+" is everybody.", "Name the proxy's own address.")
		}
		all = append(all, p.Masked())
	}
	return all, nil
}

// from tells whether a request's connection comes out of the networks.
func from(r *http.Request, networks []netip.Prefix) (is, loopback bool) {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return false, false
	}
	a := at.Addr().Unmap().WithZone("")
	for _, p := range networks {
		if p.Contains(a) {
			return true, a.IsLoopback()
		}
	}
	return false, a.IsLoopback()
}

// extractor gives the address that a request came from: that of the connection,
// or, through a named proxy, the last one in X-Forwarded-For that is no named
// proxy itself. What anybody else writes there is not believed.
func extractor(proxies []netip.Prefix) echo.IPExtractor {
	if len(proxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range proxies {
		trust = append(trust, echo.TrustIPRange(&net.IPNet{IP: p.Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())}))
	}
	return echo.ExtractIPFromXFFHeader(trust...)
}

// onlyThroughProxy refuses what would cross a network in the clear: plain HTTP
// that no named proxy passed on, or that reached the proxy without TLS. The
// machine itself may ask directly, for health and figures.
func onlyThroughProxy(proxies []netip.Prefix) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			r := c.Request()
			if len(proxies) == 0 || r.TLS != nil {
				return next(c)
			}
			is, loopback := from(r, proxies)
			scheme := r.Header.Values(echo.HeaderXForwardedProto)
			switch {
			case is && len(scheme) == 1 && scheme[0] == "https":
				h := c.Response().Header()
				h.Set(echo.HeaderStrictTransportSecurity, "max-age=31536000")
				h.Set("Cross-Origin-Opener-Policy", "same-origin")
				r.RemoteAddr = net.JoinHostPort(c.RealIP(), "0") // limits count whom it passed on, not the proxy
				return next(c)
			case loopback && len(scheme) == 0:
				return next(c)
			case is:
				return problem.New(problem.Forbidden, "The proxy does not say that it was reached by HTTPS, so passwords might cross the network unencrypted.",
					"Use the address with https://; the proxy must set X-Forwarded-Proto to https.")
			default:
				return problem.New(problem.Forbidden, "Plain HTTP is answered to the named proxy only.", "Use the proxy's address, with https://.")
			}
		}
	}
}
