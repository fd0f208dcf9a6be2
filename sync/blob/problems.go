package blob

import (
	"fmt"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Absent is the problem of bytes that are not there.
func Absent(h record.Hash) error {
	return &problem.Error{Code: problem.NotFound, What: "the stored bytes are not here", Where: "sha256 " + h.String(),
		Fix: "fetch them from a node that has them"}
}

// Mismatch is the problem of stored bytes that do not have their hash or size.
func Mismatch(h record.Hash, found string) error {
	return &problem.Error{Code: problem.Damaged, What: "the stored bytes are not what was written: " + found,
		Where: "sha256 " + h.String(), Fix: "run verify, and fetch them again from a node that has them"}
}

// Unlike is the problem of received bytes that are not what was announced.
func Unlike(h record.Hash, found string) error {
	return &problem.Error{Code: problem.Damaged, What: "the received bytes are not what was announced: " + found,
		Where: "sha256 " + h.String(), Fix: "send them again; what came is kept in quarantine"}
}

// TooLarge is the problem of more bytes than the limit.
func TooLarge(limit int64) error {
	return problem.New(problem.TooLarge, fmt.Sprintf("there are more than %d bytes", limit), "send less, or raise the limit")
}

// Elsewhere is the problem of a part that does not follow what is there.
func Elsewhere(h record.Hash, offset int64) error {
	return &problem.Error{Code: problem.Conflict, What: fmt.Sprintf("the transfer goes on at byte %d", offset),
		Where: "sha256 " + h.String(), Fix: "it is taken up there by itself"}
}
