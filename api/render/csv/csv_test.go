package csv

import (
	"bytes"
	"encoding/csv"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/api/render/words"
)

func mustWrite(t interface{ Fatalf(string, ...any) }, s render.Schedule) []byte {
	var b bytes.Buffer
	if err := Write(&b, s); err != nil {
		t.Fatalf("write: %v", err)
	}
	return b.Bytes()
}

func mustRead(t interface{ Fatalf(string, ...any) }, text []byte) [][]string {
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("read back: %v\n%s", err, text)
	}
	return rows
}

func TestWrite_golden(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	week.Published = true
	golden.Check(t, "week.csv", mustWrite(t, week))
}

func TestWrite_oneRowForEachMember(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	week.Turns[0].Members = nil
	want := 1 // the turn without members
	for _, turn := range week.Turns {
		want += len(turn.Members)
	}
	text := mustWrite(t, week)
	if got := len(mustRead(t, text)) - 1; got != want {
		t.Errorf("%d rows, want %d", got, want)
	}
	if crlf, lf := bytes.Count(text, []byte("\r\n")), bytes.Count(text, []byte("\n")); crlf != lf || crlf != want+1 {
		t.Errorf("%d CRLF and %d LF for %d lines", crlf, lf, want+1)
	}
}

func TestWrite_textThatLooksLikeAFormulaIsDisarmed(t *testing.T) {
	t.Parallel()
	cases := map[string]string{
		"=HYPERLINK(\"x\")": "'=HYPERLINK(\"x\")",
		"+1 bed":            "'+1 bed",
		"-2 bed":            "'-2 bed",
		"@home":             "'@home",
		"\t=1+1":            "'=1+1",
		"\r\n =1+1":         "'=1+1",
		"＝1+1":              "'＝1+1",
		"bed =1":            "bed =1",
		"":                  "",
		"'t Hof":            "'t Hof",
	}
	for typed, want := range cases {
		week := sample.Week()
		week.Turns = week.Turns[:1]
		week.Turns[0].Members[0].PlotName = typed
		rows := mustRead(t, mustWrite(t, week))
		if got := rows[1][8]; got != want {
			t.Errorf("%q written as %q, want %q", typed, got, want)
		}
	}
}

// Whatever people type comes back from a reader as it was typed, but for the apostrophe before a formula.
func TestWrite_anyTextRoundTrips(t *testing.T) {
	t.Parallel()
	name := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.SampledFrom([]rune("=+-@'\",;a ß\r\n\t水")), 0, 12, -1))
	rapid.Check(t, func(t *rapid.T) {
		week := sample.Week()
		turn := week.Turns[0]
		turn.SourceName, turn.ZoneName = name.Draw(t, "source"), name.Draw(t, "zone")
		turn.Opener, turn.Note = name.Draw(t, "opener"), name.Draw(t, "note")
		turn.Members = []render.Member{{PlotName: name.Draw(t, "plot"), LayoutName: name.Draw(t, "layout"), Holder: name.Draw(t, "holder")}}
		week.Turns = []render.Turn{turn}
		row := mustRead(t, mustWrite(t, week))[1]
		member := turn.Members[0]
		typed := []string{turn.SourceName, turn.ZoneName, member.PlotName, member.LayoutName, member.Holder, turn.Opener, turn.Note}
		got := []string{row[5], row[6], row[8], row[9], row[10], row[15], row[16]}
		for i, cell := range got {
			if cell != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(cell)[0]) {
				t.Fatalf("cell %q begins like a formula", cell)
			}
			want := words.OneLine(typed[i])
			if cell != want && cell != "'"+want {
				t.Fatalf("cell %q, typed %q", cell, typed[i])
			}
		}
	})
}

func TestWrite_sameViewSameBytesInAnyOrder(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	first := mustWrite(t, week)
	last := len(week.Turns) - 1
	week.Turns[0], week.Turns[last] = week.Turns[last], week.Turns[0]
	if diff := cmp.Diff(string(first), string(mustWrite(t, week))); diff != "" {
		t.Errorf("(-first +swapped):\n%s", diff)
	}
}

type brokenWriter struct{}

var errBroken = errors.New("pipe closed")

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

func TestWrite_reportsWhatFails(t *testing.T) {
	t.Parallel()
	if err := Write(brokenWriter{}, sample.Week()); !errors.Is(err, errBroken) {
		t.Errorf("broken pipe: %v", err)
	}
	week := sample.Week()
	week.TimeZone = nil
	if err := Write(&bytes.Buffer{}, week); err == nil {
		t.Error("no time zone: no error")
	}
}
