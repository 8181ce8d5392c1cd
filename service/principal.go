package service

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"github.com/google/uuid"
)

// Role is what a token may do.
type Role string

// The roles. An operator opens gardens and sees no garden's data.
const (
	Coordinator Role = "coordinator"
	Gardener    Role = "gardener"
	Integration Role = "integration"
	Operator    Role = "operator"
	// Link opens one document and nothing else; one of the documents takes reports of turns.
	Link Role = "link"
)

// Document is what a link opens.
type Document string

// The documents of links.
const (
	LayoutSheetDocument Document = "layout_sheet"
	ScheduleDocument    Document = "schedule"
	// TurnReportDocument is the schedule with a form for each turn.
	TurnReportDocument Document = "turn_report"
)

// Principal is who asks: the bearer of a token.
type Principal struct {
	Garden uuid.UUID // of the token; nil for an operator
	Token  uuid.UUID
	Member *uuid.UUID // nil for integrations and operators
	Role   Role
	Name   string // of the member, else the token's label; written into the audit

	Document Document   // of a link
	Layout   *uuid.UUID // of a link to the sheet of a layout

	scheduleVersion int64 // of the garden when the token was read
}

// Action is one thing that a role may or may not do.
type Action int

// The actions of the API, by what they need.
const (
	ReadSite     Action = iota // the garden, its plots, water and crops
	ReadPeople                 // members, holders, layouts, plantings
	ReadSchedule               // schedule, turns, rotations
	ReadWeather
	Administer // members, tokens, plots, water, review, rotations, audit
	DrawLayout // layouts and plantings of a plot
	WriteWeather
	ReportTurn
	OpenGarden
)

var allowed = map[Role][]Action{
	Coordinator: {ReadSite, ReadPeople, ReadSchedule, ReadWeather, Administer, DrawLayout, WriteWeather, ReportTurn},
	Gardener:    {ReadSite, ReadPeople, ReadSchedule, ReadWeather, DrawLayout, ReportTurn},
	Integration: {ReadSite, ReadSchedule, ReadWeather, WriteWeather, ReportTurn},
	Operator:    {OpenGarden},
}

// may refuses what the principal's role doesn't allow.
func (p Principal) may(a Action) error {
	for _, x := range allowed[p.Role] {
		if x == a {
			return nil
		}
	}
	return refuse(Forbidden, "The role %s may not do this.", p.Role)
}

// mayOpen refuses a document to who is neither allowed the action nor holds a link to it. A link that takes reports shows the
// schedule too.
func (p Principal) mayOpen(d Document, layout *uuid.UUID, a Action) error {
	same := layout == nil && p.Layout == nil || layout != nil && p.Layout != nil && *layout == *p.Layout
	shows := p.Document == d || p.Document == TurnReportDocument && d == ScheduleDocument
	if p.Role == Link && shows && same {
		return nil
	}
	return p.may(a)
}

// MayReport says whether the principal may say what became of turns.
func (p Principal) MayReport() bool { return p.mayOpen(TurnReportDocument, nil, ReportTurn) == nil }

const (
	tokenPrefix   = "rt_"
	operatorScope = "operator"
	secretBytes   = 32 // 256 random bits
)

// newSecret makes a token that is shown once and the hash that is stored. scope is a garden's id or "operator".
func newSecret(scope string) (token string, hash []byte) {
	raw := make([]byte, secretBytes)
	_, _ = rand.Read(raw) // never fails: the program ends when the system has no randomness
	token = tokenPrefix + scope + "_" + base64.RawURLEncoding.EncodeToString(raw)
	h := sha256.Sum256([]byte(token))
	return token, h[:]
}

// parseToken splits a token into its scope and the hash under which it is stored.
func parseToken(token string) (scope string, hash []byte, ok bool) {
	rest, ok := strings.CutPrefix(token, tokenPrefix)
	if !ok {
		return "", nil, false
	}
	scope, secret, ok := strings.Cut(rest, "_")
	if raw, err := base64.RawURLEncoding.DecodeString(secret); !ok || err != nil || len(raw) != secretBytes {
		return "", nil, false
	}
	h := sha256.Sum256([]byte(token))
	return scope, h[:], true
}

// Idempotency is the Idempotency-Key of a request with the fingerprint of what was asked.
type Idempotency struct {
	Key         string
	Fingerprint [sha256.Size]byte
}

type idempotencyKey struct{}

// WithIdempotency returns a context whose creating call is carried out once per key and token.
func WithIdempotency(ctx context.Context, i Idempotency) context.Context {
	return context.WithValue(ctx, idempotencyKey{}, i)
}

func idempotencyOf(ctx context.Context) (Idempotency, bool) {
	i, ok := ctx.Value(idempotencyKey{}).(Idempotency)
	return i, ok
}
