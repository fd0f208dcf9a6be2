package desk

import (
	"fmt"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/device"
	"thudbook/agent/shift"
	"thudbook/sync/problem"
	"thudbook/web"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) deviceRoutes(e *echo.Echo) {
	e.Use(d.onlyPaired)
	e.GET(page.PathDevices, d.devices)
	e.POST(page.PostPairCode, d.pairCode)
	e.POST(page.PostDeviceOff, d.removeDevice)
	e.GET(page.PathPair+"/:code", d.pairForm)
	e.POST(page.PathPair+"/:code", d.pair)
}

// onlyPaired lets a request from the network through when it comes from a paired
// device, and what stays at the rig's own screen never.
func (d *Desk) onlyPaired(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if !device.Beside(r) {
			return next(c)
		}
		// A browser that was told so would ask for the rig's own screen, under the
		// same name, by HTTPS alone.
		c.Response().Header().Del(echo.HeaderStrictTransportSecurity)
		dev, ok := d.knows(c)
		if ok {
			c.Set("seat", dev.Seat())
			if staysAtRig(r.Method, c.Path()) {
				return problem.New(problem.Forbidden, "This is done at the rig’s own screen.", "Go to the computer at the rig, or go on with another screen here.")
			}
			return next(c)
		}
		if route := c.Path(); strings.HasPrefix(route, web.Prefix) || strings.HasPrefix(route, page.PathPair+"/") { // the route that answers, however the path was written
			return next(c)
		}
		if httpkit.WantsJSON(r) {
			return problem.New(problem.Unauthenticated, "This device is not paired with the rig.", "Pair it at the rig, under Devices.")
		}
		return httpkit.Page(c, http.StatusUnauthorized, page.PairDevice{Frame: bareFrame("Pair this device")})
	}
}

// knows finds the device that a request comes from; it is asked once a request.
func (d *Desk) knows(c echo.Context) (device.Device, bool) {
	if dev, ok := c.Get("device").(device.Device); ok {
		return dev, dev.Name != ""
	}
	dev, ok := d.Gate.Book.Known(c.Request())
	c.Set("device", dev)
	return dev, ok
}

// staysAtRig tells what no device may do: setting the agent up, connecting it,
// pairing, the figures for monitoring, and what programs on this computer send.
func staysAtRig(method, route string) bool {
	for _, stays := range []string{page.PathSetup, page.PathConnect, page.PathDevices, "/metrics"} {
		if route == stays || strings.HasPrefix(route, stays+"/") {
			return true
		}
	}
	return strings.HasPrefix(route, "/api/") && method != http.MethodGet && method != http.MethodHead
}

// errorFrame tells nothing of the lab to who is not paired.
func (d *Desk) errorFrame(c echo.Context) page.Frame {
	if device.Beside(c.Request()) {
		if _, ok := d.knows(c); !ok {
			return bareFrame("Error")
		}
	}
	return d.frame(c, "Error", "")
}

func bareFrame(title string) page.Frame {
	return page.Frame{Title: title, Now: time.Now(), AtRig: true}
}

func (d *Desk) devices(c echo.Context) error { return d.devicesPage(c, http.StatusOK, nil) }

func (d *Desk) devicesPage(c echo.Context, status int, fault error) error {
	st := d.Gate.State()
	p := page.Devices{Frame: d.frame(c, "Devices", page.PathDevices), Off: st.Off, Fingerprint: st.Fingerprint, Addresses: st.Addresses}
	p.Loopback = len(st.Addresses) > 0 && !slices.ContainsFunc(st.Addresses, fromOutside)
	p.Refresh = refreshSeconds
	if fault == nil {
		fault = st.Fault
	}
	if fault != nil {
		p.Notices = append([]page.Notice{notice(page.Bad, fault)}, p.Notices...)
	}
	for _, dev := range d.Gate.Book.List() {
		row := page.DeviceRow{ID: dev.ID.String(), Name: dev.Name, Paired: dev.Paired, By: d.personName(dev.By), Seen: dev.Seen}
		if at, err := d.Shift.Who(c.Request().Context(), dev.Seat()); err == nil && at.Person != nil {
			row.Person = at.Person.Name
		}
		p.Paired = append(p.Paired, row)
	}
	code, ok := d.Gate.Book.Code()
	if ok && len(st.Addresses) > 0 {
		drawn, err := drawCode(code, st.Addresses, c.QueryParam("at"))
		if err != nil {
			return err
		}
		p.Code = drawn
	}
	return httpkit.Page(c, status, p)
}

// fromOutside says that another machine can reach an address HOST:PORT.
func fromOutside(addr string) bool {
	at, err := netip.ParseAddrPort(addr)
	return err != nil || !at.Addr().IsLoopback()
}

// drawCode draws a code for one of the computer's addresses.
func drawCode(code device.Code, addresses []string, at string) (*page.PairCode, error) {
	if !slices.Contains(addresses, at) {
		at = addresses[0]
	}
	full := url.URL{Scheme: "https", Host: at, Path: page.PairPath(code.Text)}
	path, size, err := present.QR(full.String())
	if err != nil {
		return nil, err
	}
	p := &page.PairCode{Address: at, URL: full.String(), Path: path, Size: size, Minutes: int((code.Left(time.Now()) + time.Minute - 1) / time.Minute)}
	for _, a := range addresses {
		if a != at {
			p.Others = append(p.Others, page.PairAddress{Address: a, Href: page.PathDevices + "?" + url.Values{"at": {a}}.Encode()})
		}
	}
	return p, nil
}

func (d *Desk) pairCode(c echo.Context) error {
	if err := d.Gate.Open(); err != nil {
		if _, ok := problem.As(err); !ok {
			return err
		}
		d.Log.Warn("tablets and phones are not answered", "error", err)
		return d.devicesPage(c, http.StatusUnprocessableEntity, err)
	}
	d.Gate.Book.NewCode(d.author(c))
	return httpkit.SeeOther(c, page.PathDevices)
}

func (d *Desk) removeDevice(c echo.Context) error {
	id, err := uuid.Parse(c.FormValue("device"))
	if err != nil {
		return problem.New(problem.Invalid, "No device was chosen.", "Choose one from the list.")
	}
	dev, err := d.Gate.Book.Remove(c.Request().Context(), id)
	if err != nil {
		return err
	}
	d.Log.Info("device removed", "device", id, "name", dev.Name, "by", d.author(c))
	if err := d.Shift.SignOut(c.Request().Context(), dev.Seat()); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathDevices)
}

func (d *Desk) pairForm(c echo.Context) error { return d.pairPage(c, http.StatusOK, "", nil) }

// pairPage asks for the device's name. Whether the code is good is said only when
// it is used: reading the page uses nothing up.
func (d *Desk) pairPage(c echo.Context, status int, typed string, fault error) error {
	if !device.Beside(c.Request()) {
		return problem.New(problem.NotFound, "This is the computer at the rig, which needs no pairing.", "Open this address on the tablet or phone.")
	}
	f := page.Form{Action: page.PairPath(c.Param("code")), Fields: page.PairFields(), Submit: "Pair this device", Values: map[string]string{"name": typed}}
	if p, ok := problem.As(fault); ok {
		f.Errors = map[string]string{"name": p.What + " " + p.Fix}
	}
	return httpkit.Page(c, status, page.PairDevice{Frame: bareFrame("Pair this device"), Code: true, Form: f})
}

func (d *Desk) pair(c echo.Context) error {
	name := strings.TrimSpace(c.FormValue("name"))
	if !device.Beside(c.Request()) {
		return d.pairPage(c, http.StatusOK, name, nil)
	}
	dev, token, err := d.Gate.Book.Pair(c.Request().Context(), c.Param("code"), name, c.RealIP())
	if p, ok := problem.As(err); ok {
		d.Log.Warn("pairing refused", "from", c.RealIP(), "reason", p.What)
		status := http.StatusUnprocessableEntity
		if p.Code == problem.Unauthenticated {
			status = http.StatusUnauthorized
		}
		return d.pairPage(c, status, name, err)
	}
	if err != nil {
		return fmt.Errorf("pair a device: %w", err)
	}
	if old, ok := d.knows(c); ok { // paired again: the browser forgets the old token
		if _, err := d.Gate.Book.Remove(c.Request().Context(), old.ID); err != nil {
			d.Log.Warn("remove a device that paired again", "device", old.ID, "error", err)
		}
	}
	d.Log.Info("device paired", "device", dev.ID, "name", dev.Name, "from", c.RealIP())
	c.SetCookie(&http.Cookie{Name: device.Cookie, Value: token, Path: "/", MaxAge: int((400 * 24 * time.Hour).Seconds()), Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	return httpkit.SeeOther(c, page.PathHome)
}

// navHere leaves out what is done at the rig's own screen alone.
func navHere(c echo.Context, items []page.NavItem) []page.NavItem {
	if seat(c) == shift.Rig {
		return items
	}
	return slices.DeleteFunc(items, func(i page.NavItem) bool { return i.Href == page.PathDevices || i.Href == page.PathConnect })
}
