package view

import (
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
)

// Set is all views of a store. It keeps nothing in memory and serves any
// number of goroutines. It is a ledger's Applier.
type Set struct {
	shots        *index.Table[doc[lab.Shot]]
	scores       *index.Table[scoreRow]
	voids        *index.Table[voidRow]
	sightings    *index.Table[doc[lab.Sighting]]
	quarantine   *index.Table[doc[lab.Quarantine]]
	rigs         *index.Table[doc[lab.Rig]]
	items        *index.Table[doc[lab.Item]]
	mountings    *index.Table[doc[lab.Mounting]]
	services     *index.Table[doc[lab.Service]]
	calibrations *index.Table[doc[lab.Calibration]]
	states       *index.Table[doc[lab.ItemState]]
	corrections  *index.Table[doc[lab.Correction]]
	campaigns    *index.Table[doc[lab.Campaign]]
	runs         sayings[lab.RunOrder]
	expected     *index.Table[doc[lab.Expected]]
	accepted     sayings[lab.Accepted]
	takenOut     sayings[lab.TakenOut]
	unfiled      *index.Table[doc[lab.Strokes]]
	readings     *index.Table[doc[lab.CounterRead]]
	people       *index.Table[personRow]
	edits        *index.Table[editRow]
	labs         *index.Table[labRow]
	odd          *index.Table[oddRow]
	carried      *index.Table[carriedRow]
	inspections  *index.Table[doc[lab.Inspection]]
	notes        *index.Table[doc[lab.Note]]
	wentOn       *index.Table[doc[lab.WentOn]]
	checkLimits  *index.Table[doc[lab.CheckLimits]]
	absent       *index.Table[doc[lab.Absent]]
	rated        *index.Table[doc[lab.Rated]]
	reviews      *index.Table[doc[lab.Review]]
	photos       *index.Table[doc[lab.Photo]]
	documents    *index.Table[doc[lab.Document]]
	servicePlans *index.Table[doc[lab.ServicePlan]]
	workOrders   *index.Table[doc[lab.WorkOrder]]
	bookings     *index.Table[doc[lab.Booking]]
}

// New declares the views.
func New() *Set {
	return &Set{
		shots:        shotTable(),
		scores:       scoreTable(),
		voids:        voidTable(),
		sightings:    sightingTable(),
		quarantine:   quarantineTable(),
		rigs:         named("view.rig", rigNames),
		items:        itemTable(),
		mountings:    mountingTable(),
		services:     serviceTable(),
		calibrations: dated("view.calibration", calibrationOf, inTime(calibrationTime)),
		states:       stateTable(),
		corrections:  correctionTable(),
		campaigns:    campaignTable(),
		runs:         saidTable("view.run", func(b *lab.RunOrder) []byte { return b.Campaign[:] }),
		expected:     expectedTable(),
		accepted:     saidTable("view.accepted", func(b *lab.Accepted) []byte { return b.Shot[:] }),
		takenOut:     takenOutTable(),
		unfiled:      unfiledTable(),
		readings:     readingTable(),
		people:       personTable(),
		edits:        editTable(),
		labs:         labTable(),
		odd:          oddTable(),
		carried:      carriedTable(),
		inspections:  inspectionTable(),
		notes:        noteTable(),
		wentOn:       wentOnTable(),
		checkLimits:  checkLimitsTable(),
		absent:       absentTable(),
		rated:        ratedTable(),
		reviews:      reviewTable(),
		photos:       photoTable(),
		documents:    documentTable(),
		servicePlans: servicePlanTable(),
		workOrders:   workOrderTable(),
		bookings:     bookingTable(),
	}
}

// Tables lists every table that Apply writes, for dropping and comparing.
func (s *Set) Tables() []kv.Table {
	return slices.Concat(
		s.shots.Tables(), s.scores.Tables(), s.voids.Tables(), s.sightings.Tables(), s.quarantine.Tables(),
		s.rigs.Tables(), s.items.Tables(), s.mountings.Tables(), s.services.Tables(),
		s.calibrations.Tables(), s.states.Tables(), s.corrections.Tables(), s.campaigns.Tables(), s.edits.Tables(), s.labs.Tables(), s.odd.Tables(), s.carried.Tables(),
		s.inspections.Tables(), s.notes.Tables(), s.wentOn.Tables(), s.checkLimits.Tables(), s.absent.Tables(), s.rated.Tables(), s.reviews.Tables(), s.photos.Tables(), s.documents.Tables(), s.people.Tables(),
		s.runs.Tables(), s.expected.Tables(), s.accepted.Tables(), s.takenOut.Tables(), s.unfiled.Tables(), s.readings.Tables(),
		s.servicePlans.Tables(), s.workOrders.Tables(), s.bookings.Tables(),
	)
}
