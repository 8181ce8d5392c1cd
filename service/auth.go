package service

import (
	"bytes"
	"context"
	"errors"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// Authenticate finds who bears a token. Every refusal reads the same, so that nobody learns which part was wrong.
func (s *Service) Authenticate(ctx context.Context, token string) (Principal, error) {
	unknown := refuse(Unauthenticated, "The token is missing, malformed, expired or unknown. Send it as: Authorization: Bearer rt_<garden>_<secret>.")
	scope, hash, ok := parseToken(token)
	if !ok {
		return Principal{}, unknown
	}
	if scope == operatorScope {
		row, err := repo.New(s.pool).OperatorTokenBySecret(ctx, hash)
		if errors.Is(err, pgx.ErrNoRows) {
			return Principal{}, unknown
		}
		return Principal{Token: row.ID, Role: Operator, Name: row.Label}, err
	}
	garden, err := uuid.Parse(scope)
	if err != nil || garden.String() != scope {
		return Principal{}, unknown
	}
	row, err := repo.New(repo.Read(s.pool, garden)).TokenBySecret(ctx, garden, hash)
	if errors.Is(err, repo.ErrNotFound) || err == nil && row.ExpiresAt != nil && !s.now().Before(*row.ExpiresAt) {
		return Principal{}, unknown
	}
	if err != nil {
		return Principal{}, err
	}
	p := Principal{
		Garden: garden, Token: row.ID, Member: row.MemberID, Role: Role(row.Role), Name: row.MemberName,
		Layout: row.LayoutID, scheduleVersion: row.ScheduleVersion,
	}
	if row.Document != nil {
		p.Document = Document(*row.Document)
	}
	if p.Member == nil {
		p.Name = row.Label
	}
	return p, nil
}

// LinkTo says whether a token is a link to a document of the principal's garden.
func (s *Service) LinkTo(ctx context.Context, p Principal, token string, d Document, layout *uuid.UUID) error {
	wrong := invalid(Field{"#query/link", "is not the secret of a link to this document that still holds; make one with the role link"})
	of, err := s.Authenticate(ctx, token)
	var refused *Error
	switch {
	case errors.As(err, &refused):
		return wrong
	case err != nil:
		return err
	case of.Garden != p.Garden || of.Role != Link || of.mayOpen(d, layout, OpenGarden) != nil:
		return wrong
	}
	return nil
}

// Tokens lists the garden's tokens, without their secrets, in the order in which they were made.
func (s *Service) Tokens(ctx context.Context, p Principal, at Page) ([]repo.Token, *Cursor, error) {
	if err := p.may(Administer); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).TokenListPage(ctx, p.Garden, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "token", func(r repo.Token) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Token reads one token, without its secret.
func (s *Service) Token(ctx context.Context, p Principal, id uuid.UUID) (repo.Token, error) {
	if err := p.may(Administer); err != nil {
		return repo.Token{}, err
	}
	row, err := s.read(p).TokenByID(ctx, p.Garden, id)
	return one(row, err, "token")
}

// CreateToken makes a token and returns its secret, this once: a repeat by Idempotency-Key gets the record and an empty
// secret. A member's token can't have a higher role than the member.
func (s *Service) CreateToken(ctx context.Context, p Principal, v repo.TokenValues) (repo.Token, string, error) {
	if err := p.may(Administer); err != nil {
		return repo.Token{}, "", err
	}
	if v.ExpiresAt != nil && !s.now().Before(*v.ExpiresAt) {
		return repo.Token{}, "", invalid(Field{"/expires_at", "must lie in the future"})
	}
	var secret string
	row, err := create(ctx, s, p, effect{action: "create", entity: "token"}, func(q *repo.Queries, id uuid.UUID) (repo.Token, error) {
		if v.MemberID != nil && Role(v.Role) == Coordinator {
			m, err := q.MemberByID(ctx, p.Garden, *v.MemberID)
			if err == nil && Role(m.Role) != Coordinator {
				return repo.Token{}, invalid(Field{"/role", m.Name + " is a gardener; make the member a coordinator first"})
			}
		}
		secret, v.SecretSha256 = newSecret(p.Garden.String())
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.TokenInsert(ctx, v)
	})
	if !bytes.Equal(row.SecretSha256, v.SecretSha256) {
		secret = "" // the token of an earlier request with this key
	}
	return row, secret, err
}

// DeleteToken revokes a token at its revision match.
func (s *Service) DeleteToken(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "token", id: id}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.TokenDelete(ctx, p.Garden, id, match)
	}, func(q *repo.Queries) (int64, error) {
		row, err := q.TokenByID(ctx, p.Garden, id)
		return row.Revision, err
	})
}

// NewOperatorToken makes a token of the operator of the installation. db is a connection of the schema's owner: the
// service's own role may not write these.
func NewOperatorToken(ctx context.Context, db repo.Beginner, label string) (string, error) {
	tx, err := db.Begin(ctx)
	if err != nil {
		return "", err
	}
	defer func() { _ = tx.Rollback(ctx) }()
	secret, hash := newSecret(operatorScope)
	if _, err := repo.New(tx).OperatorTokenInsert(ctx, uuid.Must(uuid.NewV7()), label, hash); err != nil {
		return "", err
	}
	return secret, tx.Commit(ctx)
}
