package exchange

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// LocalLab is the lab under which a node writes before it is enrolled. It
// follows from the node's key, so that no node can claim the local lab of
// another when it is adopted by a server.
func LocalLab(node ed25519.PublicKey) record.LabID {
	sum := sha256.Sum256(append([]byte("labl1"), node...))
	id := record.LabID(sum[:16])
	id[6] = id[6]&0x0f | 0x80 // version 8 of RFC 9562: made by a rule of our own
	id[8] = id[8]&0x3f | 0x80
	return id
}

// EnrolRequest is what a node sends once to be known to a server.
type EnrolRequest struct {
	Secret       []byte        `json:"secret"`        // of the one-time code
	EnrollmentID uuid.UUID     `json:"enrollment_id"` // the same in every repetition
	Node         record.NodeID `json:"node"`
	PublicKey    []byte        `json:"public_key"`
	Software     string        `json:"software"`
	TimeMS       int64         `json:"time_ms"`
}

// EnrolAnswer is what the server settles.
type EnrolAnswer struct {
	Server    record.NodeID `json:"server"`
	ServerKey []byte        `json:"server_key"`
	Lab       record.LabID  `json:"lab"`  // to write under from now on
	Name      string        `json:"name"` // of the node, as the administrator chose it
	TimeMS    int64         `json:"time_ms"`
}

// SealEnrol signs a request with the node's key: proof that it holds it.
func SealEnrol(key ed25519.PrivateKey, q *EnrolRequest) (Signed, error) {
	return seal(key, purposeEnrol, nil, q)
}

// OpenEnrol reads a request and checks that the node holds the key in it.
func OpenEnrol(s *Signed) (*EnrolRequest, error) {
	var q EnrolRequest
	if err := record.DecodeBody(s.Payload, &q); err != nil {
		return nil, err
	}
	if !s.verify(q.PublicKey, purposeEnrol, nil) {
		return nil, problem.New(problem.Unauthenticated, "The request is not signed by the key that it names.", "Try again; if this comes back, reinstall the agent.")
	}
	if q.Node == (record.NodeID{}) || q.EnrollmentID == (uuid.UUID{}) {
		return nil, problem.New(problem.Invalid, "The request names no node or no enrolment.", "Update the agent.")
	}
	return &q, nil
}

// SealEnrolAnswer signs an answer, bound to its request.
func SealEnrolAnswer(key ed25519.PrivateKey, q *Signed, a *EnrolAnswer) (Signed, error) {
	return seal(key, purposeEnroled, q.Payload, a)
}

// OpenEnrolAnswer reads an answer and checks that it comes from the server
// whose fingerprint the code carries.
func OpenEnrolAnswer(s, q *Signed, code Code) (*EnrolAnswer, error) {
	var a EnrolAnswer
	if err := record.DecodeBody(s.Payload, &a); err != nil {
		return nil, notTheServer(err)
	}
	if Fingerprint(a.ServerKey) != code.Server || !s.verify(a.ServerKey, purposeEnroled, q.Payload) {
		return nil, problem.New(problem.Unauthenticated,
			"The code was made by another server than the one that answered.",
			"Check the server's address, and that the code is from that server.")
	}
	return &a, nil
}

// fingerprintSize is chosen so that code and fingerprint fill whole base32 digits.
const (
	secretSize      = 16
	fingerprintSize = 9
)

// ServerMark is the beginning of the sum of a server's public key.
type ServerMark [fingerprintSize]byte

// Fingerprint gives the mark of a server's key.
func Fingerprint(key ed25519.PublicKey) ServerMark {
	sum := sha256.Sum256(append([]byte("srvk1"), key...))
	return ServerMark(sum[:fingerprintSize])
}

// Code is a one-time code: 128 random bits, and the mark of the server that
// made it.
type Code struct {
	Secret [secretSize]byte
	Server ServerMark
}

// NewCode makes a code of a server.
func NewCode(server ed25519.PublicKey) (Code, error) {
	c := Code{Server: Fingerprint(server)}
	_, err := rand.Read(c.Secret[:])
	return c, err
}

// digits leaves out I, L, O and U, which are read for others (Crockford's
// base 32).
const codeDigits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

var digits = base32.NewEncoding(codeDigits).WithPadding(base32.NoPadding)

// String gives the code in groups of five, for people.
func (c Code) String() string {
	s := digits.EncodeToString(append(c.Secret[:], c.Server[:]...))
	var groups []string
	for len(s) > codeGroup {
		groups = append(groups, s[:codeGroup])
		s = s[codeGroup:]
	}
	return strings.Join(append(groups, s), "-")
}

// Sum is what a server keeps of a code.
func (c Code) Sum() record.Hash { return SecretSum(c.Secret[:]) }

// SecretSum is what a server keeps of a code's secret.
func SecretSum(secret []byte) record.Hash {
	return sha256.Sum256(append([]byte("code1"), secret...))
}
