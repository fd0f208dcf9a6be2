package tell

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"

	"github.com/wneessen/go-mail"

	"thudbook/sync/problem"
)

// How the connection to the mail server is protected.
const (
	MailStartTLS = "starttls"
	MailTLS      = "tls"
	MailPlain    = "none" // to this machine only
)

// MailOptions name the server that takes mail (RFC 5321, RFC 6409).
type MailOptions struct {
	Server       string // host:port; empty: no mail is sent
	From         string
	User         string // empty: no authentication
	PasswordFile string
	TLS          string         // MailStartTLS, MailTLS or MailPlain
	Roots        *x509.CertPool // nil: those of the system
}

// Check says what is wrong with the settings.
func (o *MailOptions) Check() error {
	if o.Server == "" {
		return nil
	}
	host, _, err := net.SplitHostPort(o.Server)
	switch {
	case err != nil:
		return fmt.Errorf("the mail server %q: give host and port, as mail.example.org:587", o.Server)
	case o.From == "":
		return errors.New("mail needs an address that it comes from: --mail-from")
	case o.TLS == MailPlain && !loopback(host):
		return errors.New("mail without TLS is for a mail server on this machine; set --mail-tls to starttls or tls")
	}
	return nil
}

// mail sends one message.
func (t *Teller) mail(ctx context.Context, s *Subscriber, m *Message) error {
	if t.Mail.Server == "" {
		return problem.New(problem.Unavailable, "this server has no mail server to send by", "set mail-server and mail-from in its file of settings")
	}
	msg := mail.NewMsg()
	if err := errors.Join(msg.From(t.Mail.From), msg.To(s.To)); err != nil {
		return err
	}
	msg.Subject(strings.Join(strings.Fields("Thudbook, "+m.Lab+": "+m.Subject), " "))
	_, domain, _ := strings.Cut(t.Mail.From, "@")
	msg.SetMessageIDWithValue(m.ID.String() + "@" + strings.TrimSuffix(domain, ">")) // the same at every try
	msg.SetDateWithValue(m.Made)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834
	msg.SetBodyString(mail.TypeTextPlain, t.body(m))
	c, err := t.mailClient()
	if err != nil {
		return err
	}
	return c.DialAndSendWithContext(ctx, msg)
}

func (t *Teller) mailClient() (*mail.Client, error) {
	o := &t.Mail
	host, port, err := net.SplitHostPort(o.Server)
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("the mail server %q: %w", o.Server, err)
	}
	with := []mail.Option{mail.WithPort(n), mail.WithTimeout(sendTimeout), mail.WithTLSConfig(&tls.Config{ServerName: host, RootCAs: o.Roots, MinVersion: tls.VersionTLS12})}
	switch o.TLS {
	case MailTLS:
		with = append(with, mail.WithSSL())
	case MailPlain:
		with = append(with, mail.WithTLSPolicy(mail.NoTLS))
	default:
		with = append(with, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if o.User != "" {
		b, err := os.ReadFile(o.PasswordFile)
		if err != nil {
			return nil, fmt.Errorf("password of the mail server: %w", err)
		}
		with = append(with, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(o.User), mail.WithPassword(strings.TrimSpace(string(b))))
	}
	return mail.NewClient(host, with...)
}
