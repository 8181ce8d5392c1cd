package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render/csv"
	"rillturn.example/rillturn/api/render/pdf"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

const pdfMedia = "application/pdf"

// printed reads from the query how a document on paper is asked for.
func printed(paper *gen.PaperQuery, largePrint *bool, strip *gen.StripQuery) pdf.Options {
	o := pdf.Options{Paper: pdf.A4, FullSize: strip != nil && *strip == gen.StripFull, LargePrint: largePrint != nil && *largePrint}
	if paper != nil {
		o.Paper = pdf.Paper(*paper)
	}
	return o
}

// form is how a sheet is answered: as a table a list of it, on paper as asked.
type form struct {
	media string
	list  csv.SheetList
	print pdf.Options
}

// listed reads from the query which list of a sheet is asked for.
func listed(list *gen.SheetListQuery) csv.SheetList {
	if list == nil {
		return csv.Parts
	}
	return csv.SheetList(*list)
}

// accepted is the form of the operation's answer that the request prefers.
func accepted(ctx context.Context) string {
	accept := strings.Join(ctx.(*gin.Context).Request.Header.Values("Accept"), ",")
	return negotiate(accept, operationOf(ctx).produces)
}

// LayoutSheetGet reads the sheet of a layout in the form that Accept asks for.
func (a *API) LayoutSheetGet(ctx context.Context, r gen.LayoutSheetGetRequestObject) (gen.LayoutSheetGetResponseObject, error) {
	s, err := a.svc.LayoutSheet(ctx, principal(ctx), r.Layout, r.Params.Revision)
	f := form{media: accepted(ctx), list: csv.Parts, print: printed(r.Params.Paper, r.Params.LargePrint, r.Params.Strip)}
	if err == nil {
		f.print.Link, err = a.codeOf(ctx, r.Params.Link, service.LayoutSheetDocument, &r.Layout)
	}
	return answerSheet(s, err, f, r.Params.IfNoneMatch)
}

// LayoutSheetCsvGet reads the parts list of a layout as a table.
func (a *API) LayoutSheetCsvGet(ctx context.Context, r gen.LayoutSheetCsvGetRequestObject) (gen.LayoutSheetCsvGetResponseObject, error) {
	s, err := a.svc.LayoutSheet(ctx, principal(ctx), r.Layout, r.Params.Revision)
	return answerSheet(s, err, form{media: csvMedia, list: listed(r.Params.List)}, r.Params.IfNoneMatch)
}

// LayoutSheetPdfGet prints the sheet of a layout.
func (a *API) LayoutSheetPdfGet(ctx context.Context, r gen.LayoutSheetPdfGetRequestObject) (gen.LayoutSheetPdfGetResponseObject, error) {
	s, err := a.svc.LayoutSheet(ctx, principal(ctx), r.Layout, r.Params.Revision)
	f := form{media: pdfMedia, print: printed(r.Params.Paper, r.Params.LargePrint, r.Params.Strip)}
	if err == nil {
		f.print.Link, err = a.codeOf(ctx, r.Params.Link, service.LayoutSheetDocument, &r.Layout)
	}
	return answerSheet(s, err, f, r.Params.IfNoneMatch)
}

// SheetGet reads the sheets of all layouts, which are bought and cut together, in the form that Accept asks for.
func (a *API) SheetGet(ctx context.Context, r gen.SheetGetRequestObject) (gen.SheetGetResponseObject, error) {
	s, err := a.svc.GardenSheet(ctx, principal(ctx))
	return answerSheet(s, err, form{media: accepted(ctx), list: csv.Parts, print: printed(r.Params.Paper, r.Params.LargePrint, r.Params.Strip)}, r.Params.IfNoneMatch)
}

// SheetCsvGet reads the parts list of all layouts as a table.
func (a *API) SheetCsvGet(ctx context.Context, r gen.SheetCsvGetRequestObject) (gen.SheetCsvGetResponseObject, error) {
	s, err := a.svc.GardenSheet(ctx, principal(ctx))
	return answerSheet(s, err, form{media: csvMedia, list: listed(r.Params.List)}, r.Params.IfNoneMatch)
}

// SheetPdfGet prints the sheets of all layouts.
func (a *API) SheetPdfGet(ctx context.Context, r gen.SheetPdfGetRequestObject) (gen.SheetPdfGetResponseObject, error) {
	s, err := a.svc.GardenSheet(ctx, principal(ctx))
	return answerSheet(s, err, form{media: pdfMedia, print: printed(r.Params.Paper, r.Params.LargePrint, r.Params.Strip)}, r.Params.IfNoneMatch)
}

// answerSheet works a sheet out and writes it in one form. Its ETag is made of everything that it is worked out from, so
// that a caller who has the current one costs no calculation.
func answerSheet(s service.GardenSheet, err error, f form, ifNoneMatch *string) (document, error) {
	if err != nil {
		return document{}, err
	}
	names, err := sheetNames(s, f.print.Link)
	if err != nil {
		return document{}, err
	}
	d := document{media: f.media}
	if d.etag, err = contentETag(s.Sheet, names, s.Layouts, f.print, f.media, f.list); err != nil {
		return d, err
	}
	if ifNoneMatch != nil && noneMatch(*ifNoneMatch, d.etag) {
		return d, nil // answered as 304, without a body
	}
	work, err := file.WorkSheet(s.Sheet)
	if err != nil {
		return d, service.SheetRefusal(err)
	}
	f.print.Made = decided(s)
	d.body, err = drawSheet(work, names, f)
	return d, err
}

// contentETag names a state by what an answer is made from.
func contentETag(parts ...any) (string, error) {
	text, err := json.Marshal(append(parts, service.EngineVersion))
	if err != nil {
		return "", err
	}
	const enough = 16 // bytes
	sum := sha256.Sum256(text)
	return fmt.Sprintf(`W/"%x"`, sum[:enough]), nil
}

// sheetNames names the layouts of a sheet; the code of a sheet of one layout leads to link.
func sheetNames(s service.GardenSheet, link string) (SheetNames, error) {
	names, err := NamesOfSheet(s.Garden, s.Sheet)
	for i, of := range s.Layouts {
		n := &names.Layouts[i]
		n.Revision, n.Link = of.Number, link
	}
	return names, err
}

// origin is the address that the caller reached the service at, without a path.
func origin(ctx context.Context) string {
	r := ctx.(*gin.Context).Request
	if r.TLS != nil || strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https") {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// decided is when the last of the sheet's revisions was handed on.
func decided(s service.GardenSheet) time.Time {
	var last time.Time
	for _, of := range s.Layouts {
		last = later(last, of.Decided)
	}
	return last
}

func drawSheet(w file.SheetWork, names SheetNames, f form) ([]byte, error) {
	if f.media == jsonMedia {
		return json.Marshal(w.Result())
	}
	var b bytes.Buffer
	if f.media == csvMedia {
		err := WriteSheetList(&b, w, names, f.list)
		return b.Bytes(), err
	}
	err := pdf.Layouts(&b, SheetDocuments(w, names), f.print)
	return b.Bytes(), err
}
