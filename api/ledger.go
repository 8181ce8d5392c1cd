package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render/svg"
	"rillturn.example/rillturn/service"
)

// PlantingLedgerGet reads the ledger of a planting.
func (a *API) PlantingLedgerGet(ctx context.Context, r gen.PlantingLedgerGetRequestObject) (gen.PlantingLedgerGetResponseObject, error) {
	return a.ledger(ctx, r.Planting, shownDays{dayOf(r.Params.From), dayOf(r.Params.To)}, jsonMedia, r.Params.IfNoneMatch,
		func(b *bytes.Buffer, l service.LedgerOf, from *time.Time) error {
			view, err := ledgerView(l, from)
			if err != nil {
				return err
			}
			return json.NewEncoder(b).Encode(view)
		})
}

// PlantingLedgerSvgGet draws the ledger of a planting.
func (a *API) PlantingLedgerSvgGet(ctx context.Context, r gen.PlantingLedgerSvgGetRequestObject) (gen.PlantingLedgerSvgGetResponseObject, error) {
	form := svgMedia
	if r.Params.Layout != nil {
		form += " " + r.Params.Layout.String()
	}
	d, err := a.ledger(ctx, r.Planting, shownDays{dayOf(r.Params.From), dayOf(r.Params.To)}, form, r.Params.IfNoneMatch,
		func(b *bytes.Buffer, l service.LedgerOf, from *time.Time) error {
			unit, err := unitOfLedger(l, r.Params.Layout)
			if err != nil {
				return err
			}
			chart := ledgerChart(l, unit, from)
			if len(chart.Days) == 0 {
				return &service.Error{Kind: service.Conflict, Detail: notOpen}
			}
			return svg.Ledger(b, chart)
		})
	d.media = svgMedia
	return d, err
}

// shownDays are the first and the last day that a caller asks for.
type shownDays struct{ from, to *time.Time }

// ledger answers in one form. The ETag is made of what the ledger depends on and the days asked for.
func (a *API) ledger(ctx context.Context, planting uuid.UUID, days shownDays, form string, ifNoneMatch *string,
	write func(*bytes.Buffer, service.LedgerOf, *time.Time) error,
) (document, error) {
	d := document{media: form}
	asked, err := a.svc.AskLedger(ctx, principal(ctx), planting, days.to)
	if err != nil {
		return d, err
	}
	if days.from != nil && days.from.After(asked.Last) {
		return d, &service.Error{Kind: service.Invalid, Fields: []service.Field{{
			Pointer: "#query/from", Reason: "must not come after the last day, " + asked.Last.Format(time.DateOnly),
		}}}
	}
	d.etag, err = contentETag(asked.Garden.PlanRevision, asked.Garden.ScheduleVersion, planting, days.from, asked.Last, form)
	if err != nil || ifNoneMatch != nil && noneMatch(*ifNoneMatch, d.etag) {
		return d, err // answered as 304, without a body
	}
	l, err := a.svc.Ledger(ctx, principal(ctx), asked)
	if err != nil {
		return d, err
	}
	var b bytes.Buffer
	err = write(&b, l, days.from)
	d.body = b.Bytes()
	return d, err
}

// WaterNeedList reads what every layout and hand-watered plot needs.
func (a *API) WaterNeedList(ctx context.Context, r gen.WaterNeedListRequestObject) (gen.WaterNeedListResponseObject, error) {
	d := document{media: jsonMedia}
	var days *int
	if r.Params.Days != nil {
		n := int(*r.Params.Days)
		days = &n
	}
	asked, err := a.svc.AskNeed(ctx, principal(ctx), dayOf(r.Params.From), days)
	if err != nil {
		return d, err
	}
	d.etag, err = contentETag(asked.Garden.PlanRevision, asked.Garden.ScheduleVersion, asked.First, asked.Days, "water needs")
	if err != nil || r.Params.IfNoneMatch != nil && noneMatch(*r.Params.IfNoneMatch, d.etag) {
		return d, err // answered as 304, without a body
	}
	need, err := a.svc.WaterNeeds(ctx, principal(ctx), asked)
	if err != nil {
		return d, err
	}
	view, err := waterNeedsView(need)
	if err != nil {
		return d, fmt.Errorf("show the water need: %w", err)
	}
	d.body, err = json.Marshal(view)
	return d, err
}
