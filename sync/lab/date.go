package lab

import "time"

// Date is a calendar day without a zone, as it stands on a certificate.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the day of a time in its own zone.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// String gives it as 2031-03-14.
func (d Date) String() string { return d.In(time.UTC).Format(time.DateOnly) }

// In is the day's first instant in a zone.
func (d Date) In(zone *time.Location) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, zone)
	if t.Hour() > 12 { // summer time skips the midnight, and this is the hour before it
		t = t.Add(time.Hour)
	}
	return t
}

// A midnight tells its zone and so its day as long as no two zones that are told
// apart lie a whole day apart. These are the offsets from UTC that are told; the
// few places beyond are kept as if they were the nearest of them.
const (
	leastOffset = -(10*time.Hour + 45*time.Minute)
	mostOffset  = 13 * time.Hour
)

// StartOf and EndOf keep a day that was typed in a zone as the instants at which it
// begins and ends there; DaysOf gives it back in any other zone.
func (d Date) StartOf(zone *time.Location) Time {
	first := d.In(zone)
	_, s := first.Zone()
	if first.Hour() != 0 { // summer time skips the midnight
		_, s = first.Add(-12 * time.Hour).Zone()
	}
	off := min(max(time.Duration(s)*time.Second, leastOffset), mostOffset)
	return At(d.In(time.UTC).Add(-off))
}

// EndOf is the last instant of the day; see StartOf.
func (d Date) EndOf(zone *time.Location) Time { return d.after().StartOf(zone) - 1 }

// after is the day after.
func (d Date) after() Date { return DateOf(time.Date(d.Year, d.Month, d.Day+1, 0, 0, 0, 0, time.UTC)) }

// DaysOf gives back the first and the last day of a span whose days were typed: to
// ends with the last day (at 23:59:59 or 23:59:59.999, or at the midnight after it
// where toMidnight says so), which tells the zone. Of a span that does not
// end so, as a program may state it, these are the days in UTC.
func DaysOf(from, to Time, toMidnight bool) (first, last Date) {
	end, typed := to, true
	if ms := rest(to, 1000); !toMidnight {
		end, typed = to-ms+1000, ms == 0 || ms == 999
	}
	off, ok := offset(end)
	if !ok || !typed {
		return DateOf(from.Time()), DateOf(to.Time())
	}
	const hour = 60 * 60 * 1000 // by which summer time moves a midnight
	return DateOf((from + off + hour).Time()), DateOf((end + off - 1).Time())
}

// DayFrom gives back the day that begins with an instant; the day in UTC of one
// that is no midnight.
func DayFrom(t Time) Date {
	off, _ := offset(t)
	return DateOf((t + off).Time())
}

// offset is that from UTC of the zone in which t is a midnight, in milliseconds; 0
// and false when there is none.
func offset(t Time) (Time, bool) {
	const quarter = 15 * 60 * 1000
	if rest(t, quarter) != 0 {
		return 0, false
	}
	off := rest(-t, DayMS)
	if off > Time(mostOffset.Milliseconds()) {
		off -= DayMS
	}
	return off, true
}

// rest is what is left of t by a divisor; never negative.
func rest(t, by Time) Time { return (t%by + by) % by }

// Days gives the days on which it was calibrated and is due again, as they were
// typed, wherever that was.
func (k *Calibration) Days() (on, due Date) { return DaysOf(k.EffectiveAt, k.DueAt, false) }

// Days gives the first and the last day of the campaign, as they were typed; zero
// when it has none.
func (k *Campaign) Days() (first, last Date) {
	if k.EndsAt == 0 {
		return Date{}, Date{}
	}
	return DaysOf(k.StartsAt, k.EndsAt, true)
}
