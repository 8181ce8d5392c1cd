package api

import (
	"net/http"
	"strconv"
	"strings"
)

// document is an answer whose bytes are written as they are: the contract, what a rotation was planned from and what
// came out, the forms of the schedule, sheets, ledgers and needs.
type document struct {
	media string
	etag  string
	body  []byte
}

func (d document) write(w http.ResponseWriter) error {
	h := w.Header()
	media := d.media
	if strings.HasPrefix(media, "text/") {
		media += "; charset=utf-8"
	}
	h.Set("Content-Type", media)
	h.Set("Content-Length", strconv.Itoa(len(d.body)))
	h.Set("ETag", d.etag)
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(d.body)
	return err
}

func (d document) VisitDocumentGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotationInputGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotationPlanGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitScheduleGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitScheduleIcsGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitScheduleCsvGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitScheduleSvgGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitSchedulePageGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitSchedulePdfGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotationScheduleSvgGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotationFairnessSvgGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitRotationSchedulePdfGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitLayoutSheetGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitLayoutSheetCsvGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitLayoutSheetPdfGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitSheetGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitSheetCsvGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitSheetPdfGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitPlantingLedgerGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitPlantingLedgerSvgGetResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitWaterNeedListResponse(w http.ResponseWriter) error { return d.write(w) }
