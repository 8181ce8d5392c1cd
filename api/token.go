package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// TokenList lists tokens.
func (a *API) TokenList(ctx context.Context, r gen.TokenListRequestObject) (gen.TokenListResponseObject, error) {
	page, err := pageOf("tokens", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Tokens(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.TokenList200JSONResponse{Items: views(rows, tokenView), NextCursor: nextCursor("tokens", next)}, nil
}

// TokenGet reads a token.
func (a *API) TokenGet(ctx context.Context, r gen.TokenGetRequestObject) (gen.TokenGetResponseObject, error) {
	row, err := a.svc.Token(ctx, principal(ctx), r.Token)
	if err != nil {
		return nil, err
	}
	headers := gen.TokenGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.TokenGet200JSONResponse{Body: tokenView(row), Headers: headers}, nil
}

// TokenDelete deletes a token.
func (a *API) TokenDelete(ctx context.Context, r gen.TokenDeleteRequestObject) (gen.TokenDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteToken(ctx, principal(ctx), r.Token, match); err != nil {
		return nil, err
	}
	return gen.TokenDelete204Response{}, nil
}

// TokenCreate makes an access token.
func (a *API) TokenCreate(ctx context.Context, r gen.TokenCreateRequestObject) (gen.TokenCreateResponseObject, error) {
	row, secret, err := a.svc.CreateToken(ctx, principal(ctx), tokenValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.TokenCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "tokens", row.ID)}
	return gen.TokenCreate201JSONResponse{Body: tokenCreated(row, secret, origin(ctx)), Headers: headers}, nil
}
