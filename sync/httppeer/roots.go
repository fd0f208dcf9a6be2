package httppeer

import (
	"crypto/x509"
	"os"

	"thudbook/sync/problem"
)

// ReadRoots gives the authorities that may sign the server's certificate: those
// of the system and those of the file; nil without a file, which means the same.
// option is what the file was named by, for the error.
func ReadRoots(file, option string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	bad := func(err error) error {
		return &problem.Error{Code: problem.Invalid, What: "The certificates of your authority cannot be read.", Where: file,
			Fix: "Give a file in PEM form (it has lines BEGIN CERTIFICATE) with " + option + ".", Err: err}
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, bad(err)
	}
	pool, err := x509.SystemCertPool()
	if err != nil {
		pool = x509.NewCertPool() // none that can be read: the file alone counts
	}
	if !pool.AppendCertsFromPEM(b) {
		return nil, bad(nil)
	}
	return pool, nil
}
