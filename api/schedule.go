package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/csv"
	"rillturn.example/rillturn/api/render/ics"
	"rillturn.example/rillturn/api/render/svg"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// The media types of the schedule.
const (
	calendarMedia = "text/calendar"
	csvMedia      = "text/csv"
	svgMedia      = "image/svg+xml"
	htmlMedia     = "text/html"
)

// calendarDays is how many days before the rotation in force a calendar feed keeps. Programs drop what a feed no longer has,
// so without them a turn that was cancelled or ran yesterday would vanish when a plan from today on is published.
const calendarDays = 14

var renderers = map[string]func(io.Writer, render.Schedule) error{
	calendarMedia: ics.Write,
	csvMedia:      csv.Write,
	svgMedia:      svg.Timeline,
}

// ScheduleGet reads the published turns in the form that Accept asks for.
func (a *API) ScheduleGet(ctx context.Context, r gen.ScheduleGetRequestObject) (gen.ScheduleGetResponseObject, error) {
	if media := accepted(ctx); media != pdfMedia {
		return a.schedule(ctx, r.Params.Plot, media, r.Params.IfNoneMatch)
	}
	return a.printSchedule(ctx, r.Params.Plot, printed(r.Params.Paper, r.Params.LargePrint, nil), r.Params.Link, r.Params.IfNoneMatch)
}

// ScheduleIcsGet reads the published turns as a calendar feed.
func (a *API) ScheduleIcsGet(ctx context.Context, r gen.ScheduleIcsGetRequestObject) (gen.ScheduleIcsGetResponseObject, error) {
	return a.schedule(ctx, r.Params.Plot, calendarMedia, r.Params.IfNoneMatch)
}

// ScheduleCsvGet reads the published turns as a table.
func (a *API) ScheduleCsvGet(ctx context.Context, r gen.ScheduleCsvGetRequestObject) (gen.ScheduleCsvGetResponseObject, error) {
	return a.schedule(ctx, r.Params.Plot, csvMedia, r.Params.IfNoneMatch)
}

// ScheduleSvgGet reads the published turns as a picture.
func (a *API) ScheduleSvgGet(ctx context.Context, r gen.ScheduleSvgGetRequestObject) (gen.ScheduleSvgGetResponseObject, error) {
	return a.schedule(ctx, r.Params.Plot, svgMedia, r.Params.IfNoneMatch)
}

// schedule answers a pull. Its ETag is made of what the answer depends on, never of the clock, so that a caller who has
// the current one costs one small read.
func (a *API) schedule(ctx context.Context, plot *uuid.UUID, media string, ifNoneMatch *string) (document, error) {
	p := principal(ctx)
	version, err := a.svc.ScheduleVersion(ctx, p)
	if err != nil {
		return document{}, err
	}
	d := document{media: media, etag: weakETag(version, plot, string(p.Role)+"."+media)} // a role may see more than another
	if ifNoneMatch != nil && noneMatch(*ifNoneMatch, d.etag) {
		return d, nil // answered as 304, without a body
	}
	back := 0
	if media == calendarMedia {
		back = calendarDays
	}
	s, err := a.svc.Schedule(ctx, p, plot, back)
	if err != nil {
		return document{}, err
	}
	if media == jsonMedia {
		d.body, err = json.Marshal(scheduleView(s))
		return d, err
	}
	plan, err := a.planOf(ctx, p, s.Rotation)
	if err != nil {
		return document{}, err
	}
	view, err := scheduleRender(s, plan)
	if err != nil {
		return document{}, err
	}
	var b bytes.Buffer
	if err := renderers[media](&b, view); err != nil {
		return document{}, fmt.Errorf("draw the schedule as %s: %w", media, err)
	}
	d.body = b.Bytes()
	return d, nil
}

// planOf reads the plan of a rotation, which holds the shares that documents show. It is empty without a rotation and for
// those who may not see it.
func (a *API) planOf(ctx context.Context, p service.Principal, r *repo.Rotation) (file.GardenPlan, error) {
	var plan file.GardenPlan
	if r == nil {
		return plan, nil
	}
	stored, _, err := a.svc.RotationPlan(ctx, p, r.ID)
	var refused *service.Error
	if errors.As(err, &refused) && refused.Kind == service.Forbidden {
		return plan, nil
	}
	if err == nil {
		err = json.Unmarshal(stored, &plan)
	}
	return plan, err
}

// weakETag names a state of a pull: the version of the garden's schedule, the scope and the form.
func weakETag(version int64, plot *uuid.UUID, form string) string {
	scope := "all"
	if plot != nil {
		scope = plot.String()
	}
	return fmt.Sprintf(`W/"%d-%s-%s"`, version, scope, strings.NewReplacer("/", ".", "+", ".").Replace(form))
}

// RotationCurrentGet reads the rotation that is published now.
func (a *API) RotationCurrentGet(ctx context.Context, r gen.RotationCurrentGetRequestObject) (gen.RotationCurrentGetResponseObject, error) {
	p := principal(ctx)
	version, err := a.svc.ScheduleVersion(ctx, p)
	if err != nil {
		return nil, err
	}
	headers := gen.RotationCurrentGet200ResponseHeaders{ETag: weakETag(version, nil, "rotation")}
	if r.Params.IfNoneMatch != nil && noneMatch(*r.Params.IfNoneMatch, headers.ETag) {
		return gen.RotationCurrentGet200JSONResponse{Headers: headers}, nil // answered as 304, without a body
	}
	row, err := a.svc.CurrentRotation(ctx, p)
	if err != nil {
		return nil, err
	}
	shown, err := a.rotationViews(ctx, row)
	if err != nil {
		return nil, err
	}
	return gen.RotationCurrentGet200JSONResponse{Body: shown[0], Headers: headers}, nil
}
