package ics

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	reader "github.com/emersion/go-ical"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/api/render/words"
)

func TestWrite_golden(t *testing.T) {
	t.Parallel()
	var metric, us bytes.Buffer
	week := sample.Week()
	if err := Write(&metric, week); err != nil {
		t.Fatal(err)
	}
	golden.Check(t, "week.ics", metric.Bytes())
	week.Units = render.US
	week.Turns = week.Turns[:2]
	if err := Write(&us, week); err != nil {
		t.Fatal(err)
	}
	golden.Check(t, "us.ics", us.Bytes())
}

// decode reads a calendar with a second, independent library and checks the form that RFC 5545 section 3.1 asks of
// every line: CRLF at its end, at most 75 octets, never folded inside a character.
func decode(t interface{ Fatalf(string, ...any) }, text []byte) *reader.Calendar {
	for _, line := range strings.Split(strings.TrimSuffix(string(text), "\r\n"), "\r\n") {
		switch {
		case strings.ContainsAny(line, "\r\n"):
			t.Fatalf("bare line end inside %q", line)
		case len(line) > 75:
			t.Fatalf("line of %d octets: %q", len(line), line)
		case !utf8.ValidString(line):
			t.Fatalf("line cut inside a character: %q", line)
		}
	}
	cal, err := reader.NewDecoder(bytes.NewReader(text)).Decode()
	if err != nil {
		t.Fatalf("second decoder: %v\n%s", err, text)
	}
	return cal
}

func mustWrite(t interface{ Fatalf(string, ...any) }, s render.Schedule) []byte {
	var b bytes.Buffer
	if err := Write(&b, s); err != nil {
		t.Fatalf("write: %v", err)
	}
	return b.Bytes()
}

func property(t interface{ Fatalf(string, ...any) }, c *reader.Component, name string) string {
	text, err := c.Props.Text(name)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return text
}

func TestWrite_everyTurnIsReadBack(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	cal := decode(t, mustWrite(t, week))
	if got := property(t, cal.Component, "METHOD"); got != "PUBLISH" {
		t.Errorf("METHOD %q", got)
	}
	if got := property(t, cal.Component, "X-WR-CALNAME"); got != "Watering, Tanager Bend Garden" {
		t.Errorf("X-WR-CALNAME %q", got)
	}
	if refresh := cal.Props.Get("REFRESH-INTERVAL"); refresh == nil || refresh.Value != "PT1H" || len(refresh.Params["VALUE"]) != 1 {
		t.Errorf("REFRESH-INTERVAL %+v", refresh)
	}
	byUID := map[string]reader.Event{}
	for _, e := range cal.Events() {
		byUID[property(t, e.Component, "UID")] = e
	}
	if len(byUID) != len(week.Turns) {
		t.Fatalf("%d events for %d turns", len(byUID), len(week.Turns))
	}
	for _, turn := range week.Turns {
		e := byUID[turn.UID]
		start, err := e.DateTimeStart(time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		end, err := e.DateTimeEnd(time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		stamp, err := e.Props.DateTime("DTSTAMP", time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		sequence, err := e.Props.Get("SEQUENCE").Int()
		if err != nil {
			t.Fatal(err)
		}
		status, err := e.Status()
		if err != nil {
			t.Fatal(err)
		}
		if !start.Equal(turn.Start) || !end.Equal(turn.End) || !stamp.Equal(week.Generated) {
			t.Errorf("%s: %s to %s stamped %s", turn.UID, start, end, stamp)
		}
		if sequence != turn.Sequence {
			t.Errorf("%s: SEQUENCE %d, want %d", turn.UID, sequence, turn.Sequence)
		}
		if cancelled := status == reader.EventCancelled; cancelled != (turn.Status == render.Cancelled) {
			t.Errorf("%s: STATUS %s, want %s", turn.UID, status, turn.Status)
		}
	}
}

func TestWrite_separatorsInNamesAreEscaped(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	week.Turns = week.Turns[:1]
	week.Turns[0].SourceName = "tap, left; by the shed\\gate"
	week.Turns[0].Note = "first line\r\nsecond; line"
	e := decode(t, mustWrite(t, week)).Events()[0]
	if got, want := property(t, e.Component, "LOCATION"), "tap, left; by the shed\\gate, Tanager Bend Garden"; got != want {
		t.Errorf("LOCATION %q, want %q", got, want)
	}
	if got := property(t, e.Component, "DESCRIPTION"); !strings.Contains(got, "\nfirst line\nsecond; line\n") {
		t.Errorf("DESCRIPTION %q lacks the note's two lines", got)
	}
}

// Any text that people may type as a name comes back as it was typed, cleaned of what no name holds.
func TestWrite_anyNameRoundTrips(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.SampledFrom([]rune(`aZ ,;:\"'<>ößłżÅé水やり🥕`+"\n\r\t\x00\u202e")), 0, 60, -1))
		week := sample.Week()
		week.GardenName = name.Draw(t, "garden")
		turn := week.Turns[0]
		turn.SourceName, turn.ZoneName, turn.Note = name.Draw(t, "source"), name.Draw(t, "zone"), name.Draw(t, "note")
		turn.Members = []render.Member{{PlotName: name.Draw(t, "plot"), LayoutName: name.Draw(t, "layout"), Holder: name.Draw(t, "holder"), Liters: 12, Share: 1}}
		week.Turns = []render.Turn{turn}
		p := words.New(week.Language, week.Units, week.TimeZone)
		e := decode(t, mustWrite(t, week)).Events()[0]
		got := []string{property(t, e.Component, "SUMMARY"), property(t, e.Component, "LOCATION"), property(t, e.Component, "DESCRIPTION")}
		want := []string{
			p.TurnTitle(turn), words.OneLine(turn.SourceName) + ", " + words.OneLine(week.GardenName),
			strings.Join(p.TurnDetails(turn), "\n"),
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
	})
}

func TestWrite_clockChangesKeepInstants(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name, zone, start string
		minutes           int
		details           string // the line that a person reads
		dtstart           string
	}{
		{"Europe, spring, after the gap", "Europe/Warsaw", "2026-03-29T03:30:00+02:00", 45, "Open at 03:30", "20260329T013000Z"},
		{"Europe, spring, across the gap", "Europe/Warsaw", "2026-03-29T01:45:00+01:00", 30, "Close at 03:15, after 30 min", "20260329T004500Z"},
		{"Europe, autumn, first of the repeated hours", "Europe/Warsaw", "2026-10-25T02:30:00+02:00", 20, "Open at 02:30 CEST", "20261025T003000Z"},
		{"Europe, autumn, second of the repeated hours", "Europe/Warsaw", "2026-10-25T02:30:00+01:00", 20, "Open at 02:30 CET", "20261025T013000Z"},
		{"America, spring", "America/New_York", "2026-03-08T06:30:00-04:00", 45, "Open at 06:30", "20260308T103000Z"},
		{"America, autumn, the day after", "America/New_York", "2026-11-02T06:30:00-05:00", 45, "Open at 06:30", "20261102T113000Z"},
		{"America, autumn, across the repeated hour", "America/New_York", "2026-11-01T00:50:00-04:00", 90, "Close at 01:20 EST, after 1 h 30 min", "20261101T045000Z"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			start, err := time.Parse(time.RFC3339, c.start)
			if err != nil {
				t.Fatal(err)
			}
			week := sample.Week()
			week.TimeZone = sample.MustZone(c.zone)
			week.Turns = week.Turns[:1]
			week.Turns[0].Start, week.Turns[0].End = start, start.Add(time.Duration(c.minutes)*time.Minute)
			text := mustWrite(t, week)
			if !bytes.Contains(text, []byte("\r\nDTSTART:"+c.dtstart+"\r\n")) {
				t.Errorf("no DTSTART:%s in\n%s", c.dtstart, text)
			}
			e := decode(t, text).Events()[0]
			if got := property(t, e.Component, "DESCRIPTION"); !strings.Contains(got, c.details) {
				t.Errorf("no %q in %q", c.details, got)
			}
		})
	}
}

func TestWrite_refusesWhatCannotBeDrawn(t *testing.T) {
	t.Parallel()
	cases := map[string]func(*render.Schedule){
		"time zone":  func(s *render.Schedule) { s.TimeZone = nil },
		"horizon":    func(s *render.Schedule) { s.HorizonTo = s.HorizonFrom },
		"identity":   func(s *render.Schedule) { s.Turns[1].UID = " " },
		"used twice": func(s *render.Schedule) { s.Turns[1].UID = s.Turns[0].UID },
		"ends at":    func(s *render.Schedule) { s.Turns[0].End = s.Turns[0].Start },
		"sequence":   func(s *render.Schedule) { s.Turns[0].Sequence = -1 },
		"end at":     func(s *render.Schedule) { s.WaterHours[0].End = s.WaterHours[0].Start },
	}
	for want, spoil := range cases {
		week := sample.Week()
		spoil(&week)
		if err := Write(io.Discard, week); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want a refusal that names the %s, got %v", want, err)
		}
	}
}

func TestWrite_sameViewSameBytesInAnyOrder(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	first := mustWrite(t, week)
	for i, j := 0, len(week.Turns)-1; i < j; i, j = i+1, j-1 {
		week.Turns[i], week.Turns[j] = week.Turns[j], week.Turns[i]
	}
	if diff := cmp.Diff(string(first), string(mustWrite(t, week))); diff != "" {
		t.Errorf("(-first +reversed):\n%s", diff)
	}
}

type brokenWriter struct{}

var errBroken = errors.New("pipe closed")

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

func TestWrite_reportsAFailedWrite(t *testing.T) {
	t.Parallel()
	if err := Write(brokenWriter{}, sample.Week()); !errors.Is(err, errBroken) {
		t.Errorf("got %v", err)
	}
}
