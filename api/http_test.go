package api

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/service"
)

func TestNegotiate(t *testing.T) {
	t.Parallel()
	offers := []string{"application/json", "image/svg+xml", "text/calendar", "text/csv"}
	cases := []struct{ accept, want string }{
		{"", "application/json"},
		{"*/*", "application/json"},
		{"text/calendar", "text/calendar"},
		{"text/*", "text/calendar"},
		{"text/csv;q=0.9, text/calendar;q=0.8", "text/csv"},
		{"application/*;q=0.1, text/csv;q=0.2", "text/csv"},
		{"*/*, application/json;q=0", "image/svg+xml"},
		{"text/*;q=0.5, text/calendar;q=0", "text/csv"},
		{"TEXT/CSV", "text/csv"},
		{"text/html", ""},
		{"text/csv;q=2", ""},
		{"application/json;q=0", ""},
		{"nonsense", ""},
	}
	for _, c := range cases {
		if got := negotiate(c.accept, offers); got != c.want {
			t.Errorf("Accept %q: got %q, want %q", c.accept, got, c.want)
		}
	}
}

func TestMatched(t *testing.T) {
	t.Parallel()
	cases := []struct {
		header string
		want   int64
		kind   kind // of the refusal
	}{
		{`"3"`, 3, kind{}},
		{` "12" `, 12, kind{}},
		{`"abc"`, 0, kind{}}, // never the current revision
		{`"99999999999999999999"`, 0, kind{}},
		{`3`, 0, badRequest},
		{`W/"3"`, 0, badRequest},
		{`*`, 0, badRequest},
		{`"3", "4"`, 0, badRequest},
	}
	for _, c := range cases {
		got, err := matched(&c.header)
		if got != c.want || (err == nil) != (c.kind == kind{}) || err != nil && refusalOf(err).kind != c.kind {
			t.Errorf("If-Match %s: got %d, %v", c.header, got, err)
		}
	}
	if _, err := matched(nil); refusalOf(err).kind != matchMissing {
		t.Errorf("without If-Match: %v", err)
	}
}

func TestNoneMatch(t *testing.T) {
	t.Parallel()
	cases := []struct {
		header, tag string
		want        bool
	}{
		{`"3"`, `"3"`, true},
		{`W/"3"`, `"3"`, true},
		{`"3"`, `W/"3"`, true},
		{`"1", "2" ,W/"3"`, `"3"`, true},
		{`*`, `"3"`, true},
		{`"2"`, `"3"`, false},
		{`3`, `"3"`, false},
	}
	for _, c := range cases {
		if got := noneMatch(c.header, c.tag); got != c.want {
			t.Errorf("If-None-Match %s against %s: %v", c.header, c.tag, got)
		}
	}
}

func TestCursor_roundTrips(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		want := service.Cursor{Key: rapid.String().Draw(t, "key"), ID: uuid.UUID(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))}
		got, err := decodeCursor("plots", encodeCursor("plots", want))
		if err != nil || got != want {
			t.Fatalf("got %v, %v; want %v", got, err, want)
		}
	})
}

func TestCursor_refusesWhatWasTamperedWith(t *testing.T) {
	t.Parallel()
	good := encodeCursor("plots", service.Cursor{Key: "A-03", ID: uuid.MustParse("01985c00-0000-7000-8000-000000000001")})
	for i := range len(good) {
		other := byte('A')
		if good[i] == other {
			other = 'B'
		}
		mangled := good[:i] + string(other) + good[i+1:]
		if _, err := decodeCursor("plots", mangled); err == nil {
			t.Errorf("%s passes for %s", mangled, good)
		}
	}
	for _, text := range []string{"A", "====", good + "A", good[:len(good)-4], strings.Repeat("A", 40), "ä"} {
		if _, err := decodeCursor("plots", text); refusalOf(err).kind != badRequest {
			t.Errorf("%s: %v", text, err)
		}
	}
	if _, err := decodeCursor("members", good); err == nil {
		t.Error("a cursor of another list passes")
	}
}

func TestLimiter_refillsAndTellsHowLongToWait(t *testing.T) {
	t.Parallel()
	l := newLimiter(2, 3) // two a second, three at once
	now := time.Unix(1_000, 0)
	for i := range 3 {
		if _, ok := l.take("a", now); !ok {
			t.Fatalf("request %d of the burst is refused", i)
		}
	}
	wait, ok := l.take("a", now)
	if ok || wait != 500*time.Millisecond {
		t.Errorf("after the burst: wait %v, ok %v", wait, ok)
	}
	if _, ok := l.take("b", now); !ok {
		t.Error("another key is refused")
	}
	if wait, empty := l.empty("a", now); !empty || wait != 500*time.Millisecond {
		t.Errorf("empty: wait %v, %v", wait, empty)
	}
	if _, ok := l.take("a", now.Add(500*time.Millisecond)); !ok {
		t.Error("refused after the wait that it named")
	}
}

func TestLimiter_forgetsTheKeyThatWasIdleLongest(t *testing.T) {
	t.Parallel()
	l := newLimiter(1, 1)
	now := time.Unix(1_000, 0)
	l.take("first", now)
	for i := range maxBuckets - 1 {
		l.take(fmt.Sprint(i), now)
	}
	if _, ok := l.take("first", now); ok {
		t.Fatal("the first key was forgotten early")
	}
	l.take("one more", now)
	if len(l.buckets) != maxBuckets || l.recent.Len() != maxBuckets {
		t.Errorf("%d buckets, %d in the list, want %d", len(l.buckets), l.recent.Len(), maxBuckets)
	}
	if _, kept := l.buckets["0"]; kept {
		t.Error("the key idle longest is kept")
	}
	if _, kept := l.buckets["first"]; !kept {
		t.Error("a key used lately is forgotten")
	}
}

func TestRefusalOf_hidesFaultsOfOurs(t *testing.T) {
	t.Parallel()
	r := refusalOf(fmt.Errorf("read plot: %w", errors.New("relation secret_table is missing")))
	if r.kind != fault || strings.Contains(r.detail, "secret") {
		t.Errorf("got %v", r)
	}
}

func TestRefusalOf_knowsEveryKindOfTheService(t *testing.T) {
	t.Parallel()
	for k := service.Invalid; k <= service.Reused; k++ {
		if serviceKinds[k] == (kind{}) {
			t.Errorf("kind %d of the service has no status", k)
		}
	}
}
