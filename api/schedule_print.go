package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/pdf"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// SchedulePdfGet prints the published turns for the door of the shed.
func (a *API) SchedulePdfGet(ctx context.Context, r gen.SchedulePdfGetRequestObject) (gen.SchedulePdfGetResponseObject, error) {
	return a.printSchedule(ctx, r.Params.Plot, printed(r.Params.Paper, r.Params.LargePrint, nil), r.Params.Link, r.Params.IfNoneMatch)
}

// RotationSchedulePdfGet prints a rotation as it was planned.
func (a *API) RotationSchedulePdfGet(ctx context.Context, r gen.RotationSchedulePdfGetRequestObject) (gen.RotationSchedulePdfGetResponseObject, error) {
	p := principal(ctx)
	row, err := a.svc.Rotation(ctx, p, r.Rotation)
	if err != nil {
		return nil, err
	}
	o := printed(r.Params.Paper, r.Params.LargePrint, nil)
	d := document{media: pdfMedia}
	if d.etag, err = contentETag(row.ID, row.Status, row.Revision, o); err != nil {
		return nil, err
	}
	if r.Params.IfNoneMatch != nil && noneMatch(*r.Params.IfNoneMatch, d.etag) {
		return d, nil // answered as 304, without a body
	}
	report, err := a.rotationReport(ctx, p, row)
	if err != nil {
		return nil, err
	}
	d.body, err = drawSchedule(report, o)
	return d, err
}

// rotationReport is a rotation as it was planned.
func (a *API) rotationReport(ctx context.Context, p service.Principal, row repo.Rotation) (render.Report, error) {
	input, plan, err := a.svc.RotationDocuments(ctx, p, row.ID)
	if err != nil {
		return render.Report{}, err
	}
	report, err := PlanReport(input, plan, row.CreatedAt)
	report.Schedule.RotationID, report.Schedule.Revision = row.ID.String(), int(row.Revision)
	report.Schedule.HorizonFrom, report.Schedule.HorizonTo = row.StartsAt, row.EndsAt
	report.Schedule.Proposed = row.Status == "proposed"
	if row.PublishedAt != nil {
		report.Schedule.Published, report.Schedule.Generated = true, *row.PublishedAt
	}
	return report, err
}

// printSchedule answers a pull of the published turns on paper, like schedule.
func (a *API) printSchedule(ctx context.Context, plot *uuid.UUID, o pdf.Options, link, ifNoneMatch *string) (document, error) {
	p := principal(ctx)
	version, err := a.svc.ScheduleVersion(ctx, p)
	if err != nil {
		return document{}, err
	}
	if o.Link, err = a.codeOf(ctx, link, service.ScheduleDocument, nil); err != nil {
		return document{}, err
	}
	sum := sha256.Sum256([]byte(o.Link)) // the link itself is a secret
	form := fmt.Sprintf("%s.%s.%s.%t.%x", p.Role, pdfMedia, o.Paper, o.LargePrint, sum[:4])
	d := document{media: pdfMedia, etag: weakETag(version, plot, form)}
	if ifNoneMatch != nil && noneMatch(*ifNoneMatch, d.etag) {
		return d, nil // answered as 304, without a body
	}
	s, err := a.svc.Schedule(ctx, p, plot, 0)
	if err != nil {
		return d, err
	}
	report, err := a.scheduleReport(ctx, p, s)
	if err != nil {
		return d, err
	}
	d.body, err = drawSchedule(report, o)
	return d, err
}

// scheduleReport is the published schedule with what its rotation says about it: shares, shortages, what was taken for
// granted, cautions.
func (a *API) scheduleReport(ctx context.Context, p service.Principal, s service.Schedule) (render.Report, error) {
	var report render.Report
	if s.Rotation == nil {
		view, err := scheduleRender(s, file.GardenPlan{})
		report.Schedule = view
		return report, err
	}
	input, plan, err := a.svc.RotationDocuments(ctx, p, s.Rotation.ID)
	if err != nil {
		return report, err
	}
	if report, err = PlanReport(input, plan, s.Rotation.CreatedAt); err != nil {
		return report, err
	}
	view, err := scheduleRender(s, plan)
	view.Shares, view.Shorts, view.ShareBound = report.Schedule.Shares, report.Schedule.Shorts, report.Schedule.ShareBound
	report.Schedule = view
	return report, err
}

func drawSchedule(r render.Report, o pdf.Options) ([]byte, error) {
	var b bytes.Buffer
	err := pdf.Schedule(&b, r, o)
	return b.Bytes(), err
}
