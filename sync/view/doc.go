// Package view keeps what people look at: lists of shots, equipment,
// campaigns. Everything here is computed from records and can be dropped and
// rebuilt from them with the same bytes.
//
// A row is a function of the set of records about its document, never of
// their order: the first statement of a document is the one with the lowest
// stamp, a register (void, settled, name) is the one with the highest, an
// edited field is decided over all edits of that field. So records of several
// origins may arrive in any order, and a row whose own record has not arrived
// yet waits unseen.
//
// Counts and lists are declared as indexes and tallies of the tables; nothing
// is kept by hand. What depends on mountings, services or the time of day
// (usage of a ram, sensors due) is computed when it is read, from day counts
// and exact counts of the days that lie only partly in a span. So a late entry
// needs no recount.
//
// Keys of rows are (document id, lab): a record of one lab can never touch a
// row of another, even under a forged id. Every exported read takes a
// scope.Scope; what lies outside it is answered as not found.
package view
