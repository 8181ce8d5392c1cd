package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service"
)

// WhatIfCreate computes what changes would do, without saving them.
func (a *API) WhatIfCreate(ctx context.Context, r gen.WhatIfCreateRequestObject) (gen.WhatIfCreateResponseObject, error) {
	days := service.EffectDays
	if r.Body.Days != nil {
		days = int(*r.Body.Days)
	}
	answer, err := a.svc.WhatIf(ctx, principal(ctx), days, views(r.Body.Changes, supposedChange))
	if err != nil {
		return nil, err
	}
	body, err := differenceView(answer)
	return gen.WhatIfCreate200JSONResponse(body), err
}

// LayoutEffectGet computes what accepting a layout would do to everybody.
func (a *API) LayoutEffectGet(ctx context.Context, r gen.LayoutEffectGetRequestObject) (gen.LayoutEffectGetResponseObject, error) {
	answer, err := a.svc.LayoutEffect(ctx, principal(ctx), r.Layout)
	if err != nil {
		return nil, err
	}
	body, err := differenceView(answer)
	return gen.LayoutEffectGet200JSONResponse(body), err
}
