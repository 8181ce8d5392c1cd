package service

import (
	"bytes"
	"context"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// OpenedGarden is a new garden with its first coordinator and that member's token. Secret is empty on a repeat.
type OpenedGarden struct {
	Garden      repo.Garden
	Coordinator repo.Member
	Token       repo.Token
	Secret      string `json:"-"`
}

// CreateGarden opens a garden with one coordinator. With an Idempotency-Key the garden's id follows from the token and
// the key, so that a repeat finds the garden that the first request opened.
func (s *Service) CreateGarden(ctx context.Context, p Principal, v repo.GardenValues, coordinator string) (OpenedGarden, error) {
	if err := p.may(OpenGarden); err != nil {
		return OpenedGarden{}, err
	}
	p.Garden = s.newID()
	if idem, once := idempotencyOf(ctx); once {
		p.Garden = uuid.NewSHA1(p.Token, []byte(idem.Key))
	}
	return s.openGarden(ctx, p, v, coordinator)
}

func (s *Service) openGarden(ctx context.Context, p Principal, v repo.GardenValues, coordinator string) (OpenedGarden, error) {
	if err := checkGarden(v); err != nil {
		return OpenedGarden{}, err
	}
	var secret string
	var hash []byte
	made, err := create(ctx, s, p, effect{action: "create", entity: "garden"}, func(q *repo.Queries, _ uuid.UUID) (OpenedGarden, error) {
		var g OpenedGarden
		if err := q.GardenDirectoryInsert(ctx, p.Garden); err != nil {
			return g, err
		}
		v.GardenID, v.Revision = p.Garden, 1
		var err error
		if g.Garden, err = q.GardenInsert(ctx, v); err != nil {
			return g, err
		}
		if g.Coordinator, err = q.MemberInsert(ctx, repo.MemberValues{
			Name: coordinator, Role: string(Coordinator), GardenID: p.Garden, ID: s.newID(), Revision: 1,
		}); err != nil {
			return g, err
		}
		secret, hash = newSecret(p.Garden.String())
		g.Token, err = q.TokenInsert(ctx, repo.TokenValues{
			Label: "first coordinator", Role: string(Coordinator), MemberID: &g.Coordinator.ID, SecretSha256: hash,
			GardenID: p.Garden, ID: s.newID(), Revision: 1,
		})
		return g, err
	})
	if bytes.Equal(made.Token.SecretSha256, hash) { // else it is the garden of an earlier request with this key
		made.Secret = secret
	}
	return made, err
}

// checkGarden holds the garden's facts against what no column can check.
func checkGarden(v repo.GardenValues) error {
	if _, err := time.LoadLocation(v.TimeZone); err != nil || v.TimeZone == "Local" {
		return invalid(Field{"/time_zone", "is not a zone of the IANA time zone database, such as America/Los_Angeles"})
	}
	return nil
}

// Garden reads the garden's facts and choices.
func (s *Service) Garden(ctx context.Context, p Principal) (repo.Garden, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.Garden{}, err
	}
	row, err := s.read(p).GardenByID(ctx, p.Garden)
	return one(row, err, "garden")
}

// ReplaceGarden writes the garden's facts and choices anew over their revision match.
func (s *Service) ReplaceGarden(ctx context.Context, p Principal, match int64, v repo.GardenValues) (repo.Garden, error) {
	if err := p.may(Administer); err != nil {
		return repo.Garden{}, err
	}
	if err := checkGarden(v); err != nil {
		return repo.Garden{}, err
	}
	v.GardenID, v.Revision = p.Garden, match
	e := effect{action: "replace", entity: "garden", id: p.Garden, planning: true, schedule: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Garden, error) { return q.GardenUpdate(ctx, v) },
		func(q *repo.Queries) (int64, error) {
			row, err := q.GardenByID(ctx, p.Garden)
			return row.Revision, err
		})
}

// AuditEntries lists who changed what, the latest first.
func (s *Service) AuditEntries(ctx context.Context, p Principal, at Page) ([]repo.AuditEntry, *Cursor, error) {
	if err := p.may(Administer); err != nil {
		return nil, nil, err
	}
	before, beforeID, err := at.before()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).AuditEntryListPage(ctx, p.Garden, before, beforeID, int32(at.Limit+1))
	return page(rows, err, at, "audit entry", func(r repo.AuditEntry) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}
