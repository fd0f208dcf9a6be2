package ledger

import (
	"fmt"

	"thudbook/sync/record"
)

// Details stands in a notice between the words for everybody and what only the
// person needs who looks after the program.
const Details = " Details: "

// closedWords says that an own origin was closed.
func closedWords(o record.Origin, reason string, next uint32) string {
	return "This computer goes on in a new chain of records. The chain before is closed, because its end was in doubt, as after a backup was restored, the data folder was copied, or the disk was damaged. " +
		"Records that are here stay, and you can go on working. Tell the person who looks after this computer. If a copy of its data folder runs on another computer, stop that one." +
		fmt.Sprintf("%sorigin %s is closed and will not be written again: %s. The next record for this lab opens epoch %d.", Details, o, reason, next)
}

// carriedWords says that another history of an own origin was found, from a
// record on.
func carriedWords(o record.Origin, from uint64) string {
	return "Two histories came under the name of this computer: a backup was restored and used, or its data folder runs on another computer too. What only this one had was carried over into a new chain, so nothing is lost and every shot counts once. " +
		"Tell the person who looks after this computer. If there are two, stop one." +
		fmt.Sprintf("%sorigin %s, from record %d on.", Details, o, from)
}
