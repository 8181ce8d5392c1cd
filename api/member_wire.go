package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func memberValues(b gen.MemberValues) repo.MemberValues {
	return repo.MemberValues{
		Name: b.Name,
		Role: string(b.Role),
	}
}

func memberView(r repo.Member) gen.Member {
	return gen.Member{
		Id:        r.ID,
		Name:      r.Name,
		Role:      gen.MemberRole(r.Role),
		Revision:  r.Revision,
		CreatedAt: r.CreatedAt,
		UpdatedAt: r.UpdatedAt,
	}
}
