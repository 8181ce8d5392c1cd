package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

func tokenValues(b gen.TokenCreate) repo.TokenValues {
	v := repo.TokenValues{Label: b.Label, Role: string(b.Role), MemberID: b.MemberId, LayoutID: b.LayoutId, ExpiresAt: b.ExpiresAt}
	if b.Document != nil {
		v.Document = new(string(*b.Document))
	}
	return v
}

func tokenView(r repo.Token) gen.Token {
	view := gen.Token{
		Id:        r.ID,
		Label:     r.Label,
		Role:      gen.Role(r.Role),
		MemberId:  r.MemberID,
		LayoutId:  r.LayoutID,
		ExpiresAt: r.ExpiresAt,
		Revision:  r.Revision,
		CreatedAt: r.CreatedAt,
	}
	if r.Document != nil {
		view.Document = new(gen.LinkDocument(*r.Document))
	}
	return view
}

// tokenCreated shows a new token, of a link with its address at an origin. The secret is empty when the request is a repeat: it is
// shown once.
func tokenCreated(r repo.Token, secret, origin string) gen.TokenCreated {
	created := gen.TokenCreated{Token: tokenView(r)}
	if secret == "" {
		return created
	}
	created.Secret = &secret
	if r.Document != nil {
		created.Url = new(linkAddress(origin, r.GardenID, service.Document(*r.Document), r.LayoutID, secret))
	}
	return created
}
