package api

import (
	"context"
	"net/url"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
)

// linkAddress is where a link opens its document.
func linkAddress(origin string, garden uuid.UUID, d service.Document, layout *uuid.UUID, secret string) string {
	path := location(garden, "schedule.html")
	if d == service.LayoutSheetDocument {
		path = location(garden, "layouts", *layout, "sheet.pdf")
	}
	return origin + path + "?" + url.Values{feedToken: {secret}}.Encode()
}

// codeOf is where the square code of a document leads: to the link that the caller names or came by. Without one there is no code,
// since an address that asks for a token is of no use to who stands before the paper.
func (a *API) codeOf(ctx context.Context, link *string, d service.Document, layout *uuid.UUID) (string, error) {
	p := principal(ctx)
	secret := ""
	switch {
	case link != nil:
		if err := a.svc.LinkTo(ctx, p, *link, d, layout); err != nil {
			return "", err
		}
		secret = *link
	case p.Role == service.Link:
		secret = bearer(ctx.(*gin.Context), operationOf(ctx))
	default:
		return "", nil
	}
	return linkAddress(origin(ctx), p.Garden, d, layout, secret), nil
}
