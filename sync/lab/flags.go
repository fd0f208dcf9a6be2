package lab

// Flag codes that do not come from the computation: from taking a file in, and
// from the equipment that was mounted. Codes are part of the outside contract:
// add, never rename.
const (
	FlagIncompleteFile   = "incomplete_file"
	FlagFileChanged      = "file_changed"
	FlagMetaUnreadable   = "meta_unreadable"
	FlagFileTime         = "file_time_implausible"
	FlagScoringFailed    = "scoring_failed"
	FlagMapUnreadable    = "map_unreadable"
	FlagFlagsCut         = "flags_cut"
	FlagOverdue          = "calibration_overdue"
	FlagNeverCalibrated  = "calibration_missing"
	FlagItemUnregistered = "item_unregistered"
)

// FlagMeaning is one row of the table of flags, for people.
type FlagMeaning struct{ Code, Meaning, Action string }

// FlagTable lists the flags that shots carry beside those of the computation.
func FlagTable() []FlagMeaning {
	return []FlagMeaning{
		{FlagIncompleteFile, "The file never satisfied the channel map's rule for a finished file and was taken in after it had not changed for a minute.", "Look at the end of the traces; mend the rule under [complete] in the channel map."},
		{FlagFileChanged, "The file changed after it had been taken in. Both states are kept, each as a shot of its own.", "Void the one that does not count; make the rule for a finished file stricter."},
		{FlagMetaUnreadable, "The meta that came with the file could not be used; its bytes are kept with the shot, which waits under To assign.", "Assign the shot by hand; mend what writes the meta."},
		{FlagFileTime, "The file's time cannot be that of a shot; the time of arrival is used.", "Set the clock of the acquisition's computer; give fired_at in the meta."},
		{FlagScoringFailed, "A mistake in the program kept the shot from being scored. Its bytes are kept and can be scored later.", "Report it with the log and the file."},
		{FlagMapUnreadable, "The channel map that should have held could not be read, and the channels were guessed.", "Mend the channel map."},
		{FlagFlagsCut, "The shot has more flags than its record holds.", "Mend the channels that the other flags name first."},
		{FlagOverdue, "When the shot was fired, the calibration of an item that was mounted was overdue.", "Have it calibrated; if it then proves out of tolerance, score the shots that it touched again."},
		{FlagNeverCalibrated, "When the shot was fired, no calibration of an item that was mounted was on record.", "Enter its certificate under Equipment; the flag goes when the certificate covers the shot."},
		{FlagItemUnregistered, "Something was mounted that is not in the register.", "Enter the item under Equipment."},
	}
}
