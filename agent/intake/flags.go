package intake

import "thudbook/sync/scoring"

// note is a flag that taking in itself raises.
type note struct{ code, text string }

// The flags that taking in itself raises.
const (
	flagIncomplete = "incomplete_file"
	flagChanged    = "file_changed"
	flagMeta       = "meta_unreadable"
	flagFileTime   = "file_time_implausible"
	flagScoring    = "scoring_failed"
	flagMap        = "map_unreadable"
)

// FlagMeaning is one row of the table of flags.
type FlagMeaning struct{ Code, Meaning, Action string }

// Flags lists the flags that shots carry beside those of the computation.
func Flags() []FlagMeaning {
	return []FlagMeaning{
		{flagIncomplete, "The file never satisfied the channel map's rule for a finished file and was taken in after it had not changed for a minute.", "Look at the end of the traces; mend the rule under [complete] in the channel map."},
		{flagChanged, "The file changed after it had been taken in. Both states are kept, each as a shot of its own.", "Void the one that does not count; make the rule for a finished file stricter."},
		{flagMeta, "The meta that came with the file could not be used; its bytes are kept with the shot, which waits under To assign.", "Assign the shot by hand; mend what writes the meta."},
		{flagFileTime, "The file's time cannot be that of a shot; the time of arrival is used.", "Set the clock of the acquisition's computer; give fired_at in the meta."},
		{flagScoring, "A mistake in the program kept the shot from being scored. Its bytes are kept and can be scored later.", "Report it with the log and the file."},
		{flagMap, "The channel map that should have held could not be read, and the channels were guessed.", "Mend the channel map."},
		{scoring.FlagsCut, "The shot has more flags than its record holds.", "Mend the channels that the other flags name first."},
	}
}
