package lab

import (
	"maps"
	"slices"
	"strings"

	"thudbook/sync/record"
)

// kindWords names the kinds of facts as people do.
func kindWords() map[record.Kind]string {
	return map[record.Kind]string{
		KindShot: "shot", KindScore: "result", KindVoid: "void", KindEdit: "change", KindSighting: "file seen again", KindSightingSettled: "answer about a file seen again",
		KindQuarantine: "file in quarantine", KindQuarantineSettled: "answer about a file in quarantine", KindRig: "rig", KindItem: "item", KindMounting: "mounting",
		KindService: "service", KindCalibration: "certificate", KindWithdrawn: "withdrawal", KindCampaign: "campaign", KindNamed: "lab", KindItemState: "state of an item",
		KindCorrection: "correction of a counter", KindInspection: "inspection", KindNote: "log entry", KindWentOn: "decision to go on", KindStrokes: "strokes without a file",
		KindCounterRead: "reading of a counter", KindDisplay: "choice of units", KindCheckLimits: "limits of a check", KindDocument: "file", KindRunOrder: "run order",
		KindExpected: "confirmed shot", KindExpectedSettled: "answer about a confirmed shot", KindAccepted: "acceptance", KindTakenOut: "time out of the chamber",
		KindAbsent: "absent position", KindRated: "maximum allowed pressure", KindPerson: "person", KindPersonErased: "erased person", KindPhoto: "photo",
		KindReview: "review of a sensitivity", KindServicePlan: "service plan", KindWorkOrder: "work order", KindBooking: "booking", KindBookingCancelled: "cancelling of a booking", KindOrderCancelled: "cancelling of a work order",
	}
}

// Kinds lists the kinds of facts.
func Kinds() []record.Kind { return slices.Sorted(maps.Keys(kindWords())) }

// KindWords names a kind as people do, in the singular.
func KindWords(k record.Kind) string {
	if w, ok := kindWords()[k]; ok {
		return w
	}
	return strings.NewReplacer(".", " ", "_", " ").Replace(string(k))
}
