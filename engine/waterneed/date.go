package waterneed

import (
	"cmp"
	"fmt"
)

// Date is a day of the proleptic Gregorian calendar. It has no time of day and no zone.
type Date struct {
	Year, Month, Day int
}

// daysBefore holds the days of a common year before each month.
var daysBefore = [13]int{0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365}

// Leap reports whether a year has 366 days.
func Leap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

// DaysInMonth returns the length of a month, 1 to 12.
func DaysInMonth(year, month int) int {
	n := daysBefore[month] - daysBefore[month-1]
	if month == 2 && Leap(year) {
		n++
	}
	return n
}

// Valid reports whether the date exists, in the years 1 to 9999.
func (d Date) Valid() bool {
	return d.Year >= 1 && d.Year <= 9999 && d.Month >= 1 && d.Month <= 12 && d.Day >= 1 && d.Day <= DaysInMonth(d.Year, d.Month)
}

// DayOfYear returns the number of the day, 1 on 1 January to 365 or 366 on 31 December.
func (d Date) DayOfYear() int {
	n := daysBefore[d.Month-1] + d.Day
	if d.Month > 2 && Leap(d.Year) {
		n++
	}
	return n
}

// Number returns the days since 1 January of year 1, which is day 0.
func (d Date) Number() int {
	y := d.Year - 1
	return y*365 + floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400) + d.DayOfYear() - 1
}

// DateOf returns the date with a day number.
func DateOf(number int) Date {
	year := floorDiv(number*400, 146097) + 1
	for (Date{year + 1, 1, 1}).Number() <= number {
		year++
	}
	for (Date{year, 1, 1}).Number() > number {
		year--
	}
	rest := number - Date{year, 1, 1}.Number()
	month := 1
	for rest >= DaysInMonth(year, month) {
		rest -= DaysInMonth(year, month)
		month++
	}
	return Date{year, month, rest + 1}
}

// AddDays returns the date n days later.
func (d Date) AddDays(n int) Date { return DateOf(d.Number() + n) }

// Sub returns the days from other to d.
func (d Date) Sub(other Date) int { return d.Number() - other.Number() }

// Compare orders dates by time.
func (d Date) Compare(other Date) int { return cmp.Compare(d.Number(), other.Number()) }

// String returns the date as YYYY-MM-DD.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// checkDate notes a date that does not exist.
func (e *InputErrors) checkDate(field string, d Date) bool {
	if d == (Date{}) {
		e.add(field, ReasonMissing)
		return false
	}
	if !d.Valid() {
		e.add(field, ReasonUnknown)
		return false
	}
	return true
}
