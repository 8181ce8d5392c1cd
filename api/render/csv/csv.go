// Package csv writes a watering schedule as a table (RFC 4180) for spreadsheets and other programs.
package csv

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
)

// header names the columns. Quantities are metric whatever the garden reads, as in every other feed for programs, and
// say so in their names.
var header = []string{
	"date", "start", "end", "duration_min", "status", "source", "watering_group", "kind", "plot", "layout", "holder",
	"closes_at", "volume_l", "share_served_pct", "flow_l_per_min", "opener", "note", "turn_id", "sequence", "published_at",
}

// Write writes one row for each member of each turn, in the order of the turns' starts, and one row with empty plot
// columns for a turn without members.
//
//  1. Lines end in CRLF, text is UTF-8 without a byte order mark.
//  2. Instants are RFC 3339 with the offset of the garden's zone; date is the garden's day on which the turn starts.
//  3. A text that a spreadsheet would run as a formula is preceded by an apostrophe.
func Write(w io.Writer, s render.Schedule) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("table of rotation %s: %w", s.RotationID, err)
	}
	turns := slices.Clone(s.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	out := csv.NewWriter(w)
	out.UseCRLF = true
	rows := [][]string{header}
	for _, t := range turns {
		if len(t.Members) == 0 {
			rows = append(rows, row(&s, t, nil))
		}
		for i := range t.Members {
			rows = append(rows, row(&s, t, &t.Members[i]))
		}
	}
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("table of rotation %s: %w", s.RotationID, err)
	}
	return nil
}

func row(s *render.Schedule, t render.Turn, m *render.Member) []string {
	zone := s.TimeZone
	local := t.Start.In(zone)
	var plot, layout, holder, closesAt, volume, share, published string
	if s.Published {
		published = s.Generated.In(zone).Format(time.RFC3339)
	}
	if m != nil {
		const percent = 100
		plot, layout, holder = text(m.PlotName), text(m.LayoutName), text(m.Holder)
		volume, share = number(m.Liters, 1), number(m.Share*percent, 1)
		if m.ClosesAt != nil {
			closesAt = m.ClosesAt.In(zone).Format(time.RFC3339)
		}
	}
	return []string{
		local.Format(time.DateOnly), local.Format(time.RFC3339), t.End.In(zone).Format(time.RFC3339),
		number(t.End.Sub(t.Start).Minutes(), 3), string(t.Status), text(t.SourceName), text(t.ZoneName), string(t.Kind),
		plot, layout, holder, closesAt, volume, share, number(t.FlowLPerMin, 2), text(t.Opener), text(t.Note),
		text(t.UID), strconv.Itoa(t.Sequence), published,
	}
}

// number writes v with at most the given decimals; what is not a number leaves its cell empty.
func number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// formulaStart are the characters with which spreadsheets begin a formula, also in their full width.
const formulaStart = "=+-@＝＋－＠"

// text cleans what a person typed and disarms it: a cell that begins like a formula gets an apostrophe in front, which
// spreadsheets show as text.
func text(s string) string {
	s = words.OneLine(s)
	if s != "" && strings.ContainsRune(formulaStart, []rune(s)[0]) {
		return "'" + s
	}
	return s
}
