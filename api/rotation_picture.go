package api

import (
	"bytes"
	"context"
	"io"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/svg"
)

// RotationScheduleSvgGet draws the turns of a rotation as they were planned.
func (a *API) RotationScheduleSvgGet(ctx context.Context, r gen.RotationScheduleSvgGetRequestObject) (gen.RotationScheduleSvgGetResponseObject, error) {
	return a.rotationPicture(ctx, r.Rotation, "schedule", r.Params.IfNoneMatch, svg.Timeline)
}

// RotationFairnessSvgGet draws who gets which share.
func (a *API) RotationFairnessSvgGet(ctx context.Context, r gen.RotationFairnessSvgGetRequestObject) (gen.RotationFairnessSvgGetResponseObject, error) {
	return a.rotationPicture(ctx, r.Rotation, "fairness", r.Params.IfNoneMatch, svg.Fairness)
}

func (a *API) rotationPicture(ctx context.Context, id uuid.UUID, what string, ifNoneMatch *string, draw func(io.Writer, render.Schedule) error) (document, error) {
	p := principal(ctx)
	row, err := a.svc.Rotation(ctx, p, id)
	if err != nil {
		return document{}, err
	}
	d := document{media: svgMedia}
	if d.etag, err = contentETag(row.ID, row.Revision, what); err != nil {
		return d, err
	}
	if ifNoneMatch != nil && noneMatch(*ifNoneMatch, d.etag) {
		return d, nil // answered as 304, without a body
	}
	report, err := a.rotationReport(ctx, p, row)
	if err != nil {
		return d, err
	}
	var b bytes.Buffer
	err = draw(&b, report.Schedule)
	d.body = b.Bytes()
	return d, err
}
