package api

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render/html"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

// SchedulePageGet reads the published turns as a page for a telephone. The page goes by the clock and by what was reported, so its
// ETag is made of its text.
func (a *API) SchedulePageGet(ctx context.Context, r gen.SchedulePageGetRequestObject) (gen.SchedulePageGetResponseObject, error) {
	p := principal(ctx)
	s, err := a.svc.Schedule(ctx, p, r.Params.Plot, service.ReportDays)
	if err != nil {
		return nil, err
	}
	page := html.Page{Now: s.At}
	report, err := a.scheduleReport(ctx, p, s)
	if err != nil {
		return nil, err
	}
	page.Schedule = report.Schedule
	if s.Rotation != nil { // the days before it are shown, but it is not of them
		page.HorizonFrom = s.Rotation.StartsAt
	}
	if p.MayReport() && addressHoldsToken(ctx) {
		page.ReportSince = s.At.AddDate(0, 0, -service.ReportDays)
	}
	if page.Reports, err = a.pageReports(ctx, p, s.Turns); err != nil {
		return nil, err
	}
	d := document{media: htmlMedia}
	var b bytes.Buffer
	if err := html.Schedule(&b, page); err != nil {
		return nil, err
	}
	d.body = b.Bytes()
	d.etag, err = contentETag(d.body)
	return d, err
}

// addressHoldsToken says that a form sent to the address of the page would be known to be of the same caller.
func addressHoldsToken(ctx context.Context) bool {
	c := ctx.(*gin.Context)
	return c.GetHeader("Authorization") == "" && c.Query(feedToken) != ""
}

func (a *API) pageReports(ctx context.Context, p service.Principal, turns []repo.ScheduledTurn) (map[string]html.Report, error) {
	if len(turns) == 0 {
		return nil, nil
	}
	first, last := turns[0].StartsAt, turns[0].StartsAt
	for _, t := range turns {
		first, last = earlier(first, t.StartsAt), later(last, t.StartsAt)
	}
	rows, err := a.svc.LatestReports(ctx, p, first, last.Add(time.Second))
	reports := make(map[string]html.Report, len(rows))
	for id, r := range rows {
		reports[id.String()] = pageReport(r)
	}
	return reports, err
}

func pageReport(r repo.TurnReport) html.Report {
	return html.Report{Outcome: r.Outcome, Minutes: r.DurationMin, By: r.Reporter, Note: r.Note}
}

// SchedulePageReportCreate records what the form of the page says about a turn.
func (a *API) SchedulePageReportCreate(ctx context.Context, r gen.SchedulePageReportCreateRequestObject) (gen.SchedulePageReportCreateResponseObject, error) {
	p := principal(ctx)
	row, err := a.svc.CreateReport(ctx, p, repo.TurnReportValues{
		TurnID: r.Body.Turn, Outcome: string(r.Body.Outcome), DurationMin: r.Body.DurationMin, Note: r.Body.Note,
	})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := html.Recorded(&b, sentence.New("", "", nil), pageReport(row)); err != nil {
		return nil, err
	}
	return recordedPage{location: location(r.Garden, "turns", row.TurnID, "reports", row.ID), body: b.Bytes()}, nil
}

// recordedPage answers a form.
type recordedPage struct {
	location string
	body     []byte
}

func (p recordedPage) VisitSchedulePageReportCreateResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", htmlMedia+"; charset=utf-8")
	w.Header().Set("Location", p.location)
	w.WriteHeader(http.StatusCreated)
	_, err := w.Write(p.body)
	return err
}
