package intake

// note is a flag that taking in itself raises; its code is one of lab.FlagTable.
type note struct{ code, text string }
