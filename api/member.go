package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// MemberList lists members.
func (a *API) MemberList(ctx context.Context, r gen.MemberListRequestObject) (gen.MemberListResponseObject, error) {
	page, err := pageOf("members", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Members(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.MemberList200JSONResponse{Items: views(rows, memberView), NextCursor: nextCursor("members", next)}, nil
}

// MemberCreate records a member.
func (a *API) MemberCreate(ctx context.Context, r gen.MemberCreateRequestObject) (gen.MemberCreateResponseObject, error) {
	row, err := a.svc.CreateMember(ctx, principal(ctx), memberValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.MemberCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "members", row.ID)}
	return gen.MemberCreate201JSONResponse{Body: memberView(row), Headers: headers}, nil
}

// MemberGet reads a member.
func (a *API) MemberGet(ctx context.Context, r gen.MemberGetRequestObject) (gen.MemberGetResponseObject, error) {
	row, err := a.svc.Member(ctx, principal(ctx), r.Member)
	if err != nil {
		return nil, err
	}
	headers := gen.MemberGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.MemberGet200JSONResponse{Body: memberView(row), Headers: headers}, nil
}

// MemberReplace replaces a member.
func (a *API) MemberReplace(ctx context.Context, r gen.MemberReplaceRequestObject) (gen.MemberReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceMember(ctx, principal(ctx), r.Member, match, memberValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.MemberReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.MemberReplace200JSONResponse{Body: memberView(row), Headers: headers}, nil
}

// MemberDelete deletes a member.
func (a *API) MemberDelete(ctx context.Context, r gen.MemberDeleteRequestObject) (gen.MemberDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteMember(ctx, principal(ctx), r.Member, match); err != nil {
		return nil, err
	}
	return gen.MemberDelete204Response{}, nil
}
