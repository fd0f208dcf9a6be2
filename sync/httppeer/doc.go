// Package httppeer carries sessions of package exchange over HTTP: Client is an
// exchange.Peer, Handler serves one.
//
//	POST /sync/v1/enroll                              a code and a key, once
//	POST /sync/v1/challenge                           a nonce
//	POST /sync/v1/session                             the signed nonce -> an access token
//	POST /sync/v1/hello
//	POST /sync/v1/push/{node}/{lab}/{epoch}           record frames -> receipt
//	GET  /sync/v1/receipts/{node}/{lab}/{epoch}
//	POST /sync/v1/pull                                vector -> record frames
//	POST /sync/v1/labs/{lab}/blobs/have               hashes -> those that are missing
//	PUT  /sync/v1/labs/{lab}/blobs/{sha256}           Content-Length required
//	GET  /sync/v1/labs/{lab}/blobs/{sha256}           byte ranges
//	PATCH /sync/v1/labs/{lab}/uploads/{sha256}        a part of an attachment -> durable offset
//
// Questions and answers are CBOR (application/cbor); records travel as frames
// (application/vnd.thudbook.records); errors are problem documents of RFC 9457
// (application/problem+json) with the members code, where and fix, and for a
// batch that does not fit: reason and head, for a part that does not: offset.
// PROTOCOL.md beside package exchange is the specification.
//
// The access token goes in the Authorization header only; cookies are not
// looked at, so no page of another site can use a session. Nothing depends on
// trailers, interim responses or websockets, which proxies break.
package httppeer

import "thudbook/sync/exchange"

const (
	base         = "/sync/v1"
	mediaCBOR    = "application/cbor"
	mediaRecords = "application/vnd.thudbook.records"
	mediaBytes   = "application/octet-stream"
	mediaPart    = "application/vnd.thudbook.part"   // a part whose end sums up every byte
	mediaBlocks  = "application/vnd.thudbook.blocks" // a part whose end sums up the heads of its frames
	mediaProblem = "application/problem+json"

	headerSignature = "Thudbook-Head-Signature"
	headerOffset    = "Upload-Offset"
	headerLength    = "Upload-Length"

	// partLimit bounds a part with its frames.
	partLimit = exchange.MaxPartBytes + exchange.MaxPartBytes/64 + decodedSlack

	maxQuestion = 1 << 20 // bytes of a CBOR question or answer
)
