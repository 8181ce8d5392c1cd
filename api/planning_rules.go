package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// PlanningRulesGet reads what the coordinator decided for every plan.
func (a *API) PlanningRulesGet(ctx context.Context, _ gen.PlanningRulesGetRequestObject) (gen.PlanningRulesGetResponseObject, error) {
	rules, revision, err := a.svc.PlanningRules(ctx, principal(ctx))
	if err != nil {
		return nil, err
	}
	return gen.PlanningRulesGet200JSONResponse{Body: rules, Headers: gen.PlanningRulesGet200ResponseHeaders{ETag: strongETag(revision)}}, nil
}

// PlanningRulesReplace replaces the rules for every plan.
func (a *API) PlanningRulesReplace(ctx context.Context, r gen.PlanningRulesReplaceRequestObject) (gen.PlanningRulesReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	revision, err := a.svc.ReplacePlanningRules(ctx, principal(ctx), match, *r.Body)
	if err != nil {
		return nil, err
	}
	headers := gen.PlanningRulesReplace200ResponseHeaders{ETag: strongETag(revision)}
	return gen.PlanningRulesReplace200JSONResponse{Body: *r.Body, Headers: headers}, nil
}
