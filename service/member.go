package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// Members lists the members of the garden by name.
func (s *Service) Members(ctx context.Context, p Principal, at Page) ([]repo.Member, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).MemberListPage(ctx, p.Garden, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "member", func(r repo.Member) Cursor { return Cursor{r.Name, r.ID} })
}

// Member reads one member.
func (s *Service) Member(ctx context.Context, p Principal, id uuid.UUID) (repo.Member, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.Member{}, err
	}
	row, err := s.read(p).MemberByID(ctx, p.Garden, id)
	return one(row, err, "member")
}

// CreateMember adds a member.
func (s *Service) CreateMember(ctx context.Context, p Principal, v repo.MemberValues) (repo.Member, error) {
	if err := p.may(Administer); err != nil {
		return repo.Member{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "member"}, func(q *repo.Queries, id uuid.UUID) (repo.Member, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.MemberInsert(ctx, v)
	})
}

// ReplaceMember writes a member anew over its revision match.
func (s *Service) ReplaceMember(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.MemberValues) (repo.Member, error) {
	if err := p.may(Administer); err != nil {
		return repo.Member{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "member", id: id, schedule: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Member, error) { return q.MemberUpdate(ctx, v) }, memberRevision(ctx, p, id))
}

// DeleteMember removes a member at its revision match.
func (s *Service) DeleteMember(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "member", id: id}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.MemberDelete(ctx, p.Garden, id, match)
	}, memberRevision(ctx, p, id))
}

func memberRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.MemberByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
