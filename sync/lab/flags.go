package lab

// Flag codes that do not come from the computation: from taking a file in, and
// from the equipment that was mounted. Codes are part of the outside contract:
// add, never rename.
const (
	FlagIncompleteFile    = "incomplete_file"
	FlagFileChanged       = "file_changed"
	FlagFileGrew          = "file_grew"
	FlagLeftOut           = "left_out_files"
	FlagMetaUnreadable    = "meta_unreadable"
	FlagMetaField         = "meta_field_unusable"
	FlagFileTime          = "file_time_implausible"
	FlagFiredAt           = "fired_at_implausible"
	FlagClockStepped      = "clock_was_set"
	FlagClock             = "clock_implausible"
	FlagScoringFailed     = "scoring_failed"
	FlagMapUnreadable     = "map_unreadable"
	FlagFlagsCut          = "flags_cut"
	FlagCalibrationUnread = "calibration_unreadable"
	FlagOverdue           = "calibration_overdue"
	FlagNeverCalibrated   = "calibration_missing"
	FlagItemUnregistered  = "item_unregistered"
	FlagWentOn            = "went_on_overdue"
	FlagSecondFile        = "second_file"
	FlagNotExpected       = "not_the_expected_shot"
	FlagExpectedDiffers   = "differs_from_confirmed"
	FlagCheckFailed       = "system_check_failed"
	FlagOutTooLong        = "out_of_chamber_too_long"
	FlagRestTooShort      = "rest_too_short"
	FlagTimerUnknown      = "timer_unknown"
	FlagAboveRated        = "above_rated_pressure"
	FlagNothingMounted    = "nothing_mounted"
	FlagPlanChanged       = "plan_changed"
	FlagJudgedThen        = "judged_when_taken_in"
)

// FlagMeaning is one row of the table of flags, for people.
type FlagMeaning struct{ Code, Meaning, Action string }

// FlagTable lists the flags that shots carry beside those of the computation.
func FlagTable() []FlagMeaning {
	return []FlagMeaning{
		{FlagIncompleteFile, "The file never satisfied the channel map's rule for a finished file and was taken in after it had not changed for a minute.", "Look at the end of the traces; mend the rule under [complete] in the channel map."},
		{FlagFileChanged, "The file changed after it had been taken in. Both states are kept, each as a shot of its own.", "Void the one that does not count; make the rule for a finished file stricter."},
		{FlagFileGrew, "The file grew after it had been taken in: it begins with the bytes of an earlier shot and goes on. Each state is kept as a shot of its own, and they name each other as continues_shot and continued_in.", "If the ram moved once, tap The same stroke: this whole file counts, on the Result screen or under To assign: what was said of the earlier part goes over, and the part is no stroke. If another stroke was written into the same file, assign it, and have each stroke written into a file of its own. For a writer that pauses, lengthen quiet_ms under [complete] in the channel map."},
		{FlagLeftOut, "The folder of a test after ISO/TS 13499 held more than header, list and channels, such as films, photos, documents or links. Those are not kept with the shot and stay where they are; the flag names them.", "Add photos on the shot's page; keep the folder where the rest has to be kept."},
		{FlagMetaUnreadable, "The meta that came with the file could not be used; its bytes are kept with the shot, which waits under To assign.", "Assign the shot by hand; mend what writes the meta."},
		{FlagMetaField, "A field of the meta has a value that cannot be used and was left out; the other fields hold, and the meta is kept with the shot as it came.", "Fill the field in by hand; mend what writes the meta."},
		{FlagFileTime, "The file's time cannot be that of a shot: it is before 2000, or more than ten minutes ahead of the rig computer's clock. It is kept as it came; the shot's time is fired_at of the meta, else the time of arrival.", "Set the clock of the acquisition's computer, and see whether that of the rig's computer is slow; give fired_at in the meta."},
		{FlagFiredAt, "fired_at of the meta cannot be the time of a shot: it is before 2000, or more than ten minutes ahead of the rig computer's clock. It is kept as it came; the shot's time is the file's, else the time of arrival.", "Correct the time of firing by hand; set the clock of what writes the meta."},
		{FlagClock, "The clock of the rig's computer cannot have been right when the file was taken in. Recording goes on; times were not held against that clock.", "Set the clock; correct the time of firing where it came from the clock."},
		{FlagClockStepped, "The clock of the rig's computer was set forward or back, by half a minute or more, within the twelve hours before the file came; the flag says by how much. The time of the shot, and its times out of the chamber and since the last hit, were counted with that clock.", "Find out which of the two times was right. Correct the time of firing, and the times of the specimen, of the shots that were dated wrongly; leave a shot that the clock was set right for. Set no clock during a test."},
		{FlagScoringFailed, "A mistake in the program kept the shot from being scored. Its bytes are kept and can be scored later.", "Report it with the log and the file."},
		{FlagMapUnreadable, "The channel map that should have held could not be read, and the channels were guessed.", "Mend the channel map."},
		{FlagFlagsCut, "The shot has more flags than its record holds.", "Mend the channels that the other flags name first."},
		{FlagCalibrationUnread, "The certificates of the mounted sensors could not be read when the shot was scored; the channel map's sensitivities were used.", "See what the log says; then have the shot scored again."},
		{FlagOverdue, "When the shot was fired, the calibration of an item that was mounted was overdue.", "Have it calibrated as found, before any adjustment. If it is out of tolerance, every shot since the calibration before is in doubt, also those without this flag: judge them, and score again what it touched."},
		{FlagNeverCalibrated, "When the shot was fired, no calibration of an item that was mounted was on record.", "Enter its certificate under Equipment; the flag goes when the certificate covers the shot."},
		{FlagSecondFile, "A file came for which no shot had been confirmed, soon after another had become the confirmed one: a second file of the same trigger, or a shot of its own. Both are kept; this one waits under To assign. The flag goes when it is assigned as a stroke of its own; its history says by whom.", "If it is of the same trigger, say so with one tap on the Result screen, or by its kind under Correct: it then counts neither as a shot nor as a stroke. Else assign it. Have the acquisition write one file a trigger."},
		{FlagNotExpected, "A confirmed shot waits for its file, and this file was taken for another: its meta, its time or the time at which it was first seen speak against it.", "If it is the confirmed shot after all, say so on the Result screen; else assign it. Set the clock of the acquisition's computer."},
		{FlagExpectedDiffers, "The meta that came with the file says something else than was confirmed for the shot. What the file says holds.", "Look which is right, and correct the shot where it is not."},
		{FlagWentOn, "When the shot was fired, something at the rig was overdue, missing or out of order, and the operator went on with the reason that the flag gives.", "Judge whether the shot may count; have done what was overdue."},
		{FlagCheckFailed, "The system check before the shot, or the one after it, was out of its limits: something at the rig may have changed since the last good check.", "Find out what changed, and judge whether the shot may count. The flag goes when the check is made void or corrected."},
		{FlagOutTooLong, "The specimen was out of its conditioning chamber for longer than the campaign allows; the flag gives both times.", "Judge whether the shot may count; condition the specimen anew before it is hit again."},
		{FlagRestTooShort, "The specimen was hit sooner after its last hit than the campaign allows; the flag gives both times.", "Judge whether the shot may count."},
		{FlagTimerUnknown, "The campaign limits a time that is not known for this shot: the specimen was not said to be out of its chamber, or the clock of the rig's computer was set back meanwhile.", "Look into the log for the time; press Out of the chamber now before each shot that needs it, and set no clock during a test."},
		{FlagAboveRated, "The tank pressure that was stated for the stroke is above the maximum allowed pressure of the rig, as it is marked on the vessel or its relief valve.", "Do not fire again at it. Correct the pressure if it was mistyped; if the gauge did show it, shut the supply, vent the tank, take the rig out of use and have a competent person examine vessel, relief valve and regulator, as local rules say."},
		{FlagPlanChanged, "The campaign was changed after the shot was recorded, in what the shot is judged by: its cell, the tolerance of its speed, a limit, or a time that it has to keep. All that is said of the shot follows the plan in force; the flag gives what the plan said before.", "Look whether an acceptance or a void of before still holds, and judge the shot again where it does not."},
		{FlagJudgedThen, "What an earlier program flagged by the plan of the day when the file was taken in. What the plan in force says of the shot stands in flags of its own.", "Nothing; it is kept so that the judgement of then can be followed."},
		{FlagNothingMounted, "When the shot was fired, nothing was mounted, by the register, at a position that a channel of the channel map reads: which sensor it was, and whether it was in calibration, is not known.", "Record what sat there under Rig, from when on; the flag goes when the entry covers the shot. If the rig has nothing there, say so under Rig, or take the channel out of the map."},
		{FlagItemUnregistered, "Something was mounted that is not in the register.", "Enter the item under Equipment."},
	}
}
