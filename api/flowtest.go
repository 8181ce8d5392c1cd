package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// FlowTestList lists the flow tests of a source.
func (a *API) FlowTestList(ctx context.Context, r gen.FlowTestListRequestObject) (gen.FlowTestListResponseObject, error) {
	page, err := pageOf("flow-tests", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.FlowTests(ctx, principal(ctx), r.Source, page)
	if err != nil {
		return nil, err
	}
	return gen.FlowTestList200JSONResponse{Items: views(rows, flowTestView), NextCursor: nextCursor("flow-tests", next)}, nil
}

// FlowTestCreate records a flow test.
func (a *API) FlowTestCreate(ctx context.Context, r gen.FlowTestCreateRequestObject) (gen.FlowTestCreateResponseObject, error) {
	values := flowTestValues(*r.Body)
	values.WaterSourceID = r.Source
	row, err := a.svc.CreateFlowTest(ctx, principal(ctx), values)
	if err != nil {
		return nil, err
	}
	headers := gen.FlowTestCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "water-sources", r.Source, "flow-tests", row.ID)}
	return gen.FlowTestCreate201JSONResponse{Body: flowTestView(row), Headers: headers}, nil
}

// FlowTestGet reads a flow test.
func (a *API) FlowTestGet(ctx context.Context, r gen.FlowTestGetRequestObject) (gen.FlowTestGetResponseObject, error) {
	row, err := a.svc.FlowTest(ctx, principal(ctx), r.Source, r.Test)
	if err != nil {
		return nil, err
	}
	headers := gen.FlowTestGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.FlowTestGet200JSONResponse{Body: flowTestView(row), Headers: headers}, nil
}

// FlowTestDelete deletes a flow test.
func (a *API) FlowTestDelete(ctx context.Context, r gen.FlowTestDeleteRequestObject) (gen.FlowTestDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteFlowTest(ctx, principal(ctx), r.Source, r.Test, match); err != nil {
		return nil, err
	}
	return gen.FlowTestDelete204Response{}, nil
}
