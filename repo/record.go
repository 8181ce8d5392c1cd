package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"rillturn.example/rillturn/repo/internal/dbsqlc"
)

// The records: one Go shape per table, fields named as the columns are.
type (
	AuditEntry      = dbsqlc.AuditEntry
	ClimateDocument = dbsqlc.ClimateDocument
	Closure         = dbsqlc.Closure
	Dig             = dbsqlc.Dig
	FlowTest        = dbsqlc.FlowTest
	Garden          = dbsqlc.Garden
	IdempotencyKey  = dbsqlc.IdempotencyKey
	Layout          = dbsqlc.Layout
	LayoutRevision  = dbsqlc.LayoutRevision
	Member          = dbsqlc.Member
	OperatorToken   = dbsqlc.OperatorToken
	OwnCrop         = dbsqlc.OwnCrop
	Planting        = dbsqlc.Planting
	PlanningRules   = dbsqlc.PlanningRules
	Plot            = dbsqlc.Plot
	PlotHolder      = dbsqlc.PlotHolder
	RainReading     = dbsqlc.RainReading
	Rotation        = dbsqlc.Rotation
	ServiceLine     = dbsqlc.ServiceLine
	StoredPipe      = dbsqlc.StoredPipe
	Token           = dbsqlc.Token
	Turn            = dbsqlc.Turn
	TurnMember      = dbsqlc.TurnMember
	TurnReport      = dbsqlc.TurnReport
	WaterHours      = dbsqlc.WaterHours
	WaterOff        = dbsqlc.WaterOff
	WaterSource     = dbsqlc.WaterSource
	WeatherDay      = dbsqlc.WeatherDay
	Webhook         = dbsqlc.Webhook
)

// The values of a record: what its author gives, and under which garden, id and revision it is written. The same values
// insert it (Revision 1) and replace it (Revision is the one that the author read; the stored one becomes the next).
type (
	AuditEntryValues     = dbsqlc.AuditEntryInsertParams
	ClosureValues        = dbsqlc.ClosureInsertParams
	DigValues            = dbsqlc.DigInsertParams
	FlowTestValues       = dbsqlc.FlowTestInsertParams
	GardenValues         = dbsqlc.GardenInsertParams
	IdempotencyKeyValues = dbsqlc.IdempotencyKeyInsertParams
	LayoutValues         = dbsqlc.LayoutInsertParams
	LayoutRevisionValues = dbsqlc.LayoutRevisionInsertParams
	MemberValues         = dbsqlc.MemberInsertParams
	OwnCropValues        = dbsqlc.OwnCropInsertParams
	PlantingValues       = dbsqlc.PlantingInsertParams
	PlotValues           = dbsqlc.PlotInsertParams
	PlotHolderValues     = dbsqlc.PlotHolderInsertParams
	RainReadingValues    = dbsqlc.RainReadingInsertParams
	RotationValues       = dbsqlc.RotationInsertParams
	ServiceLineValues    = dbsqlc.ServiceLineInsertParams
	StoredPipeValues     = dbsqlc.StoredPipeInsertParams
	TokenValues          = dbsqlc.TokenInsertParams
	TurnReportValues     = dbsqlc.TurnReportInsertParams
	WaterHoursValues     = dbsqlc.WaterHoursInsertParams
	WaterOffValues       = dbsqlc.WaterOffInsertParams
	WaterSourceValues    = dbsqlc.WaterSourceInsertParams
	WebhookValues        = dbsqlc.WebhookInsertParams
)

// WebhookNoteValues are what became of a delivery: when it was tried, delivered, retrying or failed, the status of the answer if
// there was one, and the trouble in a sentence.
type WebhookNoteValues = dbsqlc.WebhookNoteParams

// Bearer is whom a secret belongs to: the token, the name of its member (empty without one), and the version of the
// garden's schedule.
type Bearer = dbsqlc.TokenBySecretRow

// EndOfTime, with uuid.Max, is where lists begin that go back in time (rotations, audit entries).
var EndOfTime = time.Date(9999, time.December, 31, 0, 0, 0, 0, time.UTC)

// LayoutDocument is a layout with one of its revisions.
type LayoutDocument struct {
	Layout         Layout
	LayoutRevision LayoutRevision
}

// Queries are the statements on one transaction, or on the one-statement door that Read returns. They return
// pgx.ErrNoRows where a single row was asked for and there is none, also when an update's revision has moved on.
type Queries struct {
	*dbsqlc.Queries
	db dbsqlc.DBTX
}

// New returns the queries on a transaction or on what Read returned.
func New(db dbsqlc.DBTX) *Queries { return &Queries{Queries: dbsqlc.New(db), db: db} }

// JobInsert hands a job to the queue in the transaction of these queries: it is there exactly when the transaction commits.
func (q *Queries) JobInsert(ctx context.Context, jobs *river.Client[pgx.Tx], args river.JobArgs) error {
	tx, ok := q.db.(pgx.Tx)
	if !ok {
		return errors.New("a job is handed to the queue in a transaction")
	}
	_, err := jobs.InsertTx(ctx, tx, args, nil)
	return err
}

// GardenUpdate replaces the garden's values.
func (q *Queries) GardenUpdate(ctx context.Context, v GardenValues) (Garden, error) {
	return q.Queries.GardenUpdate(ctx, dbsqlc.GardenUpdateParams(v))
}

// MemberUpdate replaces a member's values.
func (q *Queries) MemberUpdate(ctx context.Context, v MemberValues) (Member, error) {
	return q.Queries.MemberUpdate(ctx, dbsqlc.MemberUpdateParams(v))
}

// ServiceLineUpdate replaces a service line's values.
func (q *Queries) ServiceLineUpdate(ctx context.Context, v ServiceLineValues) (ServiceLine, error) {
	return q.Queries.ServiceLineUpdate(ctx, dbsqlc.ServiceLineUpdateParams(v))
}

// WaterSourceUpdate replaces a water source's values.
func (q *Queries) WaterSourceUpdate(ctx context.Context, v WaterSourceValues) (WaterSource, error) {
	return q.Queries.WaterSourceUpdate(ctx, dbsqlc.WaterSourceUpdateParams(v))
}

// WaterHoursUpdate replaces the values of water hours.
func (q *Queries) WaterHoursUpdate(ctx context.Context, v WaterHoursValues) (WaterHours, error) {
	return q.Queries.WaterHoursUpdate(ctx, dbsqlc.WaterHoursUpdateParams(v))
}

// ClosureUpdate replaces a closure's values.
func (q *Queries) ClosureUpdate(ctx context.Context, v ClosureValues) (Closure, error) {
	return q.Queries.ClosureUpdate(ctx, dbsqlc.ClosureUpdateParams(v))
}

// OwnCropUpdate replaces the values of a crop of the garden's own.
func (q *Queries) OwnCropUpdate(ctx context.Context, v OwnCropValues) (OwnCrop, error) {
	return q.Queries.OwnCropUpdate(ctx, dbsqlc.OwnCropUpdateParams(v))
}

// PlotUpdate replaces a plot's values.
func (q *Queries) PlotUpdate(ctx context.Context, v PlotValues) (Plot, error) {
	return q.Queries.PlotUpdate(ctx, dbsqlc.PlotUpdateParams(v))
}

// PlotHolderUpdate replaces a holder's values.
func (q *Queries) PlotHolderUpdate(ctx context.Context, v PlotHolderValues) (PlotHolder, error) {
	return q.Queries.PlotHolderUpdate(ctx, dbsqlc.PlotHolderUpdateParams(v))
}

// PlantingUpdate replaces a planting's values.
func (q *Queries) PlantingUpdate(ctx context.Context, v PlantingValues) (Planting, error) {
	return q.Queries.PlantingUpdate(ctx, dbsqlc.PlantingUpdateParams(v))
}

// StoredPipeUpdate replaces a stored pipe's values.
func (q *Queries) StoredPipeUpdate(ctx context.Context, v StoredPipeValues) (StoredPipe, error) {
	return q.Queries.StoredPipeUpdate(ctx, dbsqlc.StoredPipeUpdateParams(v))
}

// WebhookUpdate replaces a webhook's values.
func (q *Queries) WebhookUpdate(ctx context.Context, v WebhookValues) (Webhook, error) {
	return q.Queries.WebhookUpdate(ctx, dbsqlc.WebhookUpdateParams(v))
}

// LayoutUpdate replaces a layout's values, its status and the numbers of its latest and accepted revision among them.
func (q *Queries) LayoutUpdate(ctx context.Context, v LayoutValues) (Layout, error) {
	return q.Queries.LayoutUpdate(ctx, dbsqlc.LayoutUpdateParams(v))
}

// LayoutRevisionUpdate replaces a revision's values. The document of a submitted revision can't change any more.
func (q *Queries) LayoutRevisionUpdate(ctx context.Context, v LayoutRevisionValues) (LayoutRevision, error) {
	return q.Queries.LayoutRevisionUpdate(ctx, dbsqlc.LayoutRevisionUpdateParams(v))
}

// LayoutLatest is a layout with its newest revision.
func (q *Queries) LayoutLatest(ctx context.Context, garden, id uuid.UUID) (LayoutDocument, error) {
	row, err := q.Queries.LayoutLatest(ctx, garden, id)
	return LayoutDocument(row), err
}

// LayoutAccepted is a layout with the revision that was accepted last; no row when none was.
func (q *Queries) LayoutAccepted(ctx context.Context, garden, id uuid.UUID) (LayoutDocument, error) {
	row, err := q.Queries.LayoutAccepted(ctx, garden, id)
	return LayoutDocument(row), err
}

// LayoutListAccepted is what a plan is made from: every layout that is not retired, with its accepted revision.
func (q *Queries) LayoutListAccepted(ctx context.Context, garden uuid.UUID) ([]LayoutDocument, error) {
	rows, err := q.Queries.LayoutListAccepted(ctx, garden)
	out := make([]LayoutDocument, len(rows))
	for i, row := range rows {
		out[i] = LayoutDocument(row)
	}
	return out, err
}

// FlowTestListPage lists the flow tests of a source in the order in which they were entered.
func (q *Queries) FlowTestListPage(ctx context.Context, garden, source uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]FlowTest, error) {
	return q.Queries.FlowTestListPage(ctx, dbsqlc.FlowTestListPageParams{
		GardenID: garden, WaterSourceID: source, AfterKey: afterKey, AfterID: afterID, RowLimit: limit,
	})
}

// PlotHolderListPage lists the holders of a plot in the order in which they were entered.
func (q *Queries) PlotHolderListPage(ctx context.Context, garden, plot uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]PlotHolder, error) {
	return q.Queries.PlotHolderListPage(ctx, dbsqlc.PlotHolderListPageParams{
		GardenID: garden, PlotID: plot, AfterKey: afterKey, AfterID: afterID, RowLimit: limit,
	})
}

// TurnReportListPage lists the reports of a turn in the order in which they came.
func (q *Queries) TurnReportListPage(ctx context.Context, garden, turn uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]TurnReport, error) {
	return q.Queries.TurnReportListPage(ctx, dbsqlc.TurnReportListPageParams{
		GardenID: garden, TurnID: turn, AfterKey: afterKey, AfterID: afterID, RowLimit: limit,
	})
}
