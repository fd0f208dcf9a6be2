package httppeer

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"strings"
	"syscall"

	"thudbook/sync/problem"
)

// isLoopback says whether a host is this computer.
func isLoopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// somebodyElse is what a captive portal, a proxy's error page or another
// program on that port comes down to.
func somebodyElse(server string, resp *http.Response) error {
	what := resp.Header.Get("Content-Type")
	if what == "" {
		what = "nothing readable"
	}
	where := fmt.Sprintf("%s answered with status %d, %s", server, resp.StatusCode, what)
	switch {
	case resp.StatusCode == http.StatusTooManyRequests, resp.StatusCode == http.StatusBadGateway,
		resp.StatusCode == http.StatusServiceUnavailable, resp.StatusCode == http.StatusGatewayTimeout:
		return &problem.Error{Code: problem.Unavailable, Where: where, Err: errSomebodyElse,
			What: "A machine in front of the server answers that the server cannot be reached now.",
			Fix:  "It is tried again by itself; if it stays, ask whoever runs the server or its proxy."}
	case resp.StatusCode == http.StatusRequestEntityTooLarge:
		return &problem.Error{Code: problem.TooLarge, Where: where,
			What: "A machine in front of the server refuses bodies of this size.",
			Fix:  "Let whoever runs the proxy allow larger requests under /sync/v1/."}
	}
	return &problem.Error{Code: problem.Unavailable, Where: where, Err: errSomebodyElse,
		What: "The network does not lead to the server: something else answered, perhaps the sign-in page of this network.",
		Fix:  "Open a web page on this computer and sign in to the network, or check the server's address. Nothing is lost meanwhile."}
}

// inWords says what a technician can do about a failed connection.
func inWords(ctx context.Context, server string, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if _, ok := problem.As(err); ok {
		return err // what the body's reader said
	}
	p := &problem.Error{Code: problem.Unavailable, Where: server, Err: err}
	p.What, p.Fix = "The connection to the server broke.", "It is tried again by itself, and goes on where it was cut."
	if what, fix, ok := tlsWords(err); ok {
		p.What, p.Fix = what, fix
		return p
	}
	if dns, ok := errors.AsType[*net.DNSError](err); ok {
		p.What = fmt.Sprintf("The name %q is not known on this network.", dns.Name)
		p.Fix = "Check the network cable or Wi-Fi, and the spelling of the server's address. Nothing is lost meanwhile."
		return p
	}
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		p.What, p.Fix = "The server's computer is there, but Thudbook is not running on it or listens on another port.", "Start the server, or check the port in its address. Nothing is lost meanwhile."
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH):
		p.What, p.Fix = "There is no way to the server from here: no network, or another one.", "Check the network cable or Wi-Fi. Nothing is lost meanwhile."
	case isTimeout(err):
		p.What, p.Fix = "The server does not answer in time.", "It is tried again by itself. If it stays, check the network and whether the server runs."
	}
	return p
}

func isTimeout(err error) bool {
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return true
	}
	ne, ok := errors.AsType[net.Error](err)
	return ok && ne.Timeout()
}

// tlsWords explains certificates. There is no way to go on without one.
func tlsWords(err error) (what, fix string, ok bool) {
	if _, is := errors.AsType[x509.UnknownAuthorityError](err); is {
		return "The server's certificate was signed by an authority that this computer does not know, or somebody reads the traffic.",
			"Ask IT for the certificate of your authority and start the agent with it (--ca-file). Nothing is sent until then.", true
	}
	if e, is := errors.AsType[x509.HostnameError](err); is {
		return fmt.Sprintf("The server's certificate is for another name than %q.", e.Host),
			"Use the name that stands in the certificate, or let IT make one for this name.", true
	}
	if e, is := errors.AsType[x509.CertificateInvalidError](err); is {
		if e.Reason == x509.Expired {
			return "The server's certificate is not valid at this computer's date.",
				"Check the date of this computer first; if it is right, let the certificate be renewed.", true
		}
		return "The server's certificate is not valid.", "Let IT check it. Nothing is sent until then.", true
	}
	if _, is := errors.AsType[*tls.CertificateVerificationError](err); is {
		return "The server's certificate could not be checked.", "Let IT check it. Nothing is sent until then.", true
	}
	if _, is := errors.AsType[tls.RecordHeaderError](err); is || errors.Is(err, http.ErrSchemeMismatch) {
		return "The server does not speak TLS on this port.", "Check whether its address begins with https:// and the port is right.", true
	}
	return "", "", false
}
