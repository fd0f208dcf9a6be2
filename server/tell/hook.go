package tell

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Headers of a webhook.
const (
	HeaderMessage   = "Thudbook-Message"   // the same at every try
	HeaderTime      = "Thudbook-Time"      // Unix seconds of the try
	HeaderSignature = "Thudbook-Signature" // see Sign
)

// Sign is the signature of a body: HMAC-SHA-256 (RFC 2104, FIPS 198-1) by the
// secret over the time in decimal, a full stop and the body, in hexadecimal.
func Sign(secret string, unix int64, body []byte) string {
	h := hmac.New(sha256.New, []byte(secret))
	h.Write(strconv.AppendInt(nil, unix, 10))
	h.Write([]byte{'.'})
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

// hookBody is what a webhook gets.
type hookBody struct {
	ID      string     `json:"id"`
	Lab     string     `json:"lab"`
	Made    time.Time  `json:"made"`
	Subject string     `json:"subject"`
	Facts   []hookFact `json:"facts,omitempty"`
	Day     string     `json:"day,omitempty"`
	Digest  []Section  `json:"digest,omitempty"`
}

type hookFact struct {
	Code  string `json:"code"`
	Key   string `json:"key"`
	Title string `json:"title"`
	Text  string `json:"text,omitempty"`
	URL   string `json:"url,omitempty"`
}

// post sends one message to a webhook; any answer of 2xx takes it.
func (t *Teller) post(ctx context.Context, s *Subscriber, m *Message) error {
	if err := t.checkHook(s.To); err != nil {
		return err
	}
	v := hookBody{ID: m.ID.String(), Lab: m.Lab, Made: m.Made, Subject: m.Subject, Day: m.Day}
	for _, f := range m.Facts {
		v.Facts = append(v.Facts, hookFact{Code: f.Code, Key: f.Key, Title: f.Title, Text: f.Text, URL: t.link(f.Path)})
	}
	if m.Digest != nil {
		v.Digest = m.Digest.Sections
	}
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, s.To, bytes.NewReader(body))
	if err != nil {
		return err
	}
	now := t.Now().Unix()
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("User-Agent", "Thudbook")
	q.Header.Set(HeaderMessage, v.ID)
	q.Header.Set(HeaderTime, strconv.FormatInt(now, 10))
	q.Header.Set(HeaderSignature, Sign(s.Secret, now, body))
	a, err := t.hook.Do(q)
	if err != nil {
		return err
	}
	defer a.Body.Close()
	if _, err := io.CopyN(io.Discard, a.Body, 64<<10); err != nil && err != io.EOF {
		return err
	}
	if a.StatusCode < 200 || a.StatusCode > 299 {
		return fmt.Errorf("it answered %s", a.Status)
	}
	return nil
}

// hookClient follows no redirection, uses no proxy, and unless told otherwise
// goes to public addresses only, whatever a name stands for at that moment.
func hookClient(private bool) *http.Client {
	d := &net.Dialer{Timeout: 10 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		at, err := netip.ParseAddrPort(address)
		if err != nil {
			return err
		}
		if !private && !public(at.Addr().Unmap()) {
			return fmt.Errorf("%s is no public address; --hook-private allows it", at.Addr())
		}
		return nil
	}}
	return &http.Client{
		Transport:     &http.Transport{DialContext: d.DialContext, DisableKeepAlives: true, TLSHandshakeTimeout: 10 * time.Second, ForceAttemptHTTP2: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// public says that an address is one of the open network. Left out are also those
// that lead elsewhere by another way: this network, carriers, measurements,
// protocol assignments, and IPv6 that carries an IPv4 address.
func public(a netip.Addr) bool {
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, p := range []string{
		"0.0.0.0/8",      // RFC 791
		"100.64.0.0/10",  // RFC 6598
		"192.0.0.0/24",   // RFC 6890
		"198.18.0.0/15",  // RFC 2544
		"240.0.0.0/4",    // RFC 1112
		"64:ff9b::/96",   // RFC 6052
		"64:ff9b:1::/48", // RFC 8215
		"2002::/16",      // RFC 3056
		"2001::/32",      // RFC 4380
	} {
		if netip.MustParsePrefix(p).Contains(a) {
			return false
		}
	}
	return true
}

func loopback(host string) bool {
	a, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return host == "localhost" || err == nil && a.IsLoopback()
}
