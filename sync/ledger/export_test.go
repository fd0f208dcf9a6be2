package ledger

// DataSync is the sync that the anchor uses, for a fair comparison.
var DataSync = dataSync
