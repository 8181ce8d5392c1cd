// Package ics writes a watering schedule as an iCalendar feed (RFC 5545) that calendars subscribe to.
package ics

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	ical "github.com/arran4/golang-ical"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
)

const (
	productID = "-//Rillturn//Watering schedule//EN"
	// refreshInterval asks subscribers to look again every hour: a turn may be cancelled on its day because of rain.
	refreshInterval = "PT1H"
)

// Write writes the turns of s as one calendar.
//
//  1. Times are UTC, so that a subscriber needs no time zone block and a clock change moves nothing.
//  2. A turn keeps its UID; its SEQUENCE rises with each change; a dropped turn stays with STATUS:CANCELLED.
//  3. DTSTAMP is s.Generated, so the same schedule gives the same bytes.
//  4. Lines end in CRLF and are folded at 75 octets.
func Write(w io.Writer, s render.Schedule) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("calendar of rotation %s: %w", s.RotationID, err)
	}
	p := words.New(s.Language, s.Units, s.TimeZone)
	cal := ical.NewCalendar()
	cal.SetProductId(productID)
	cal.SetCalscale("GREGORIAN")
	cal.SetMethod(ical.MethodPublish)
	cal.SetName(p.CalendarName(s.GardenName))
	cal.SetXWRTimezone(s.TimeZone.String())
	cal.SetRefreshInterval(refreshInterval)
	cal.SetXPublishedTTL(refreshInterval)
	turns := slices.Clone(s.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	for _, t := range turns {
		addTurn(cal, p, s, t)
	}
	// The library drops the error of writing the last line, so it writes to memory first.
	var text bytes.Buffer
	if err := cal.SerializeTo(&text, ical.WithNewLineWindows); err != nil {
		return fmt.Errorf("calendar of rotation %s: %w", s.RotationID, err)
	}
	if _, err := text.WriteTo(w); err != nil {
		return fmt.Errorf("calendar of rotation %s: %w", s.RotationID, err)
	}
	return nil
}

func addTurn(cal *ical.Calendar, p words.Printer, s render.Schedule, t render.Turn) {
	event := cal.AddEvent(words.OneLine(t.UID))
	event.SetDtStampTime(s.Generated)
	event.SetSequence(t.Sequence)
	event.SetStartAt(t.Start)
	event.SetEndAt(t.End)
	event.SetSummary(p.TurnTitle(t))
	event.SetDescription(strings.Join(p.TurnDetails(t), "\n"))
	event.SetLocation(words.OneLine(t.SourceName) + ", " + words.OneLine(s.GardenName))
	status := ical.ObjectStatusConfirmed
	if t.Status == render.Cancelled {
		status = ical.ObjectStatusCancelled
	}
	event.SetStatus(status)
	// Whether the holder is busy meanwhile is for the holder to say: most turns need nobody.
	event.SetTimeTransparency(ical.TransparencyTransparent)
}
