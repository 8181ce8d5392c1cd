package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func tokenValues(b gen.TokenCreate) repo.TokenValues {
	return repo.TokenValues{
		Label:     b.Label,
		Role:      string(b.Role),
		MemberID:  b.MemberId,
		ExpiresAt: b.ExpiresAt,
	}
}

func tokenView(r repo.Token) gen.Token {
	return gen.Token{
		Id:        r.ID,
		Label:     r.Label,
		Role:      gen.Role(r.Role),
		MemberId:  r.MemberID,
		ExpiresAt: r.ExpiresAt,
		Revision:  r.Revision,
		CreatedAt: r.CreatedAt,
	}
}

// tokenCreated shows a new token. The secret is empty when the request is a repeat: it is shown once.
func tokenCreated(r repo.Token, secret string) gen.TokenCreated {
	created := gen.TokenCreated{Token: tokenView(r)}
	if secret != "" {
		created.Secret = &secret
	}
	return created
}
