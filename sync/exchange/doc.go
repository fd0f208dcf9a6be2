// Package exchange brings two ledgers to the same content. One question does
// it: "what do you have beyond this?", asked with a vector that names the head
// of every chain. A session starts from what the other side really has, never
// from memory, so it may be cut anywhere and started again; sending anything
// twice changes nothing.
//
// A session of an agent with a server runs:
//
//  1. Hello: the agent says where its chains end; the server answers with its
//     own heads, its receipts, its identity and its clock, signed over a nonce
//     of the agent's.
//  2. Push: records beyond the server's heads, in batches bounded in bytes.
//     The server answers each with a receipt once they are durable.
//  3. Pull: what the server has for the agent's labs beyond the agent's heads.
//  4. Attachments of the pushed records that the server misses; the receipt
//     moves its CompleteThrough on as they arrive.
//
// Rights are whole chains. A node may push only chains that it wrote itself,
// in labs that it is enrolled for; it sees chains of those labs only; the
// question which attachments are missing is answered within one lab, so that
// nobody learns what other labs hold.
//
// The package knows nothing of HTTP: Peer is the seam, Service implements it
// over a ledger, and a client of any transport implements it over a wire.
package exchange
