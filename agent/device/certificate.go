package device

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
)

// CertificateFile holds certificate and key in the data folder, readable to its
// owner alone.
const CertificateFile = "devices.pem"

const (
	validYears  = 10
	renewBefore = 180 * 24 * time.Hour
)

// earliest is a day before which no such program ran: a clock below it is wrong,
// and a certificate made by it would be over before the clock is right.
var earliest = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// Certificate reads the certificate in a data folder, and makes one where there
// is none, where it ends soon, or where the clock lies outside its time. A wrong
// clock is never a reason to fail: devices know the certificate by its
// fingerprint, and stay paired when it changes.
func Certificate(dir string, now time.Time, addresses []net.IP) (tls.Certificate, error) {
	path := filepath.Join(dir, CertificateFile)
	if now.Before(earliest) {
		now = earliest
	}
	b, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return tls.Certificate{}, fmt.Errorf("read the certificate for devices: %w", err)
	}
	if err == nil {
		pair, err := tls.X509KeyPair(b, b)
		if err != nil {
			return pair, &problem.Error{Code: problem.Invalid, What: "The certificate for tablets and phones cannot be read.", Where: path,
				Fix: "Move the file away; the next start makes another one. Devices stay paired, and show the browser's warning once more.", Err: err}
		}
		if !now.Before(pair.Leaf.NotBefore) && now.Add(renewBefore).Before(pair.Leaf.NotAfter) {
			return pair, nil
		}
	}
	if b, err = generate(now, addresses); err != nil {
		return tls.Certificate{}, fmt.Errorf("make a certificate for devices: %w", err)
	}
	if err := durable.Replace(path, b); err != nil {
		return tls.Certificate{}, fmt.Errorf("keep the certificate for devices: %w", err)
	}
	return tls.X509KeyPair(b, b)
}

// generate makes a self-signed certificate (RFC 5280) with its key, as PEM.
func generate(now time.Time, addresses []net.IP) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120)) // RFC 5280, 4.1.2.2: at most 20 octets
	if err != nil {
		return nil, err
	}
	t := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "Thudbook at the rig"},
		NotBefore: now.Add(-24 * time.Hour), NotAfter: now.AddDate(validYears, 0, 0),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
		IPAddresses: addresses, DNSNames: []string{"localhost"}}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	b := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	return append(b, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: raw})...), nil
}

// Fingerprint is the SHA-256 of a certificate as browsers show it: 32 pairs of
// hexadecimal digits, here four pairs a group.
func Fingerprint(c *tls.Certificate) string {
	sum := sha256.Sum256(c.Certificate[0])
	var b strings.Builder
	for i, x := range sum {
		switch {
		case i == 0:
		case i%4 == 0:
			b.WriteByte(' ')
		default:
			b.WriteByte(':')
		}
		fmt.Fprintf(&b, "%02X", x)
	}
	return b.String()
}
