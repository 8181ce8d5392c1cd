package repo_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// world is one garden with a record of every kind.
type world struct {
	garden       repo.Garden
	member       repo.Member
	token        repo.Token
	line         repo.ServiceLine
	source       repo.WaterSource
	test         repo.FlowTest
	hours        repo.WaterHours
	closure      repo.Closure
	plot         repo.Plot
	holder       repo.PlotHolder
	layout       repo.Layout
	planting     repo.Planting
	dig          repo.Dig
	reading      repo.RainReading
	crop         repo.OwnCrop
	pipe, free   repo.StoredPipe // the first one is reserved for the layout
	published    repo.Rotation
	proposed     repo.Rotation
	undocumented repo.Rotation // its documents are not written yet
	planning     repo.Rotation // a job plans it
	off          repo.WaterOff // at the source
	hook         repo.Webhook
	unsigned     repo.Webhook // its secret is not written yet
	turn         repo.Turn    // published
	bare         repo.Turn    // proposed, without members
	cancelled    repo.Turn    // since the water was off, without members
	report       repo.TurnReport
	key          repo.IdempotencyKeyValues
	weather      repo.WeatherDay
	unused       struct { // nothing refers to these, so they can be deleted
		member repo.Member
		line   repo.ServiceLine
		source repo.WaterSource
		plot   repo.Plot
	}
}

func makeWorld(t *testing.T, tx pgx.Tx) world {
	t.Helper()
	w := world{garden: repotest.Garden(t, tx)}
	g := w.garden.GardenID
	w.member = repotest.Member(t, tx, g)
	w.token = repotest.Token(t, tx, g, func(v *repo.TokenValues) { v.MemberID = &w.member.ID })
	w.line = repotest.ServiceLine(t, tx, g)
	w.source = repotest.WaterSource(t, tx, g, func(v *repo.WaterSourceValues) { v.ServiceLineID = &w.line.ID })
	w.test = repotest.FlowTest(t, tx, g, func(v *repo.FlowTestValues) { v.WaterSourceID = w.source.ID })
	w.hours, w.closure = repotest.WaterHours(t, tx, g), repotest.Closure(t, tx, g)
	w.plot = repotest.Plot(t, tx, g)
	w.holder = repotest.PlotHolder(t, tx, g, func(v *repo.PlotHolderValues) { v.PlotID, v.MemberID = w.plot.ID, w.member.ID })
	w.layout = repotest.Layout(t, tx, g, nil, func(v *repo.LayoutValues) {
		v.PlotID, v.WaterSourceID, v.Status = w.plot.ID, w.source.ID, "accepted"
	})
	w.planting = repotest.Planting(t, tx, g, func(v *repo.PlantingValues) { v.PlotID = w.plot.ID })
	w.dig = repotest.Dig(t, tx, g, func(v *repo.DigValues) { v.PlotID = w.plot.ID })
	w.reading = repotest.RainReading(t, tx, g, func(v *repo.RainReadingValues) { v.PlotID = w.plot.ID })
	w.crop = repotest.OwnCrop(t, tx, g)
	w.pipe = repotest.StoredPipe(t, tx, g, func(v *repo.StoredPipeValues) { v.ReservedLayoutID = &w.layout.ID })
	w.free = repotest.StoredPipe(t, tx, g)
	w.hook = repotest.Webhook(t, tx, g)
	w.unused.member, w.unused.line = repotest.Member(t, tx, g), repotest.ServiceLine(t, tx, g)
	w.unused.source, w.unused.plot = repotest.WaterSource(t, tx, g), repotest.Plot(t, tx, g)
	w.published = repotest.Rotation(t, tx, g, func(v *repo.RotationValues) { v.Status = "published" })
	w.proposed = repotest.Rotation(t, tx, g, func(v *repo.RotationValues) { v.StartsAt, v.EndsAt = v.EndsAt, v.EndsAt.AddDate(0, 0, 7) })
	w.turn = repotest.Turn(t, tx, g, w.plot.ID, func(v *repo.Turn) {
		v.RotationID, v.WaterSourceID, v.Status = w.published.ID, w.source.ID, "planned"
	})
	w.bare = w.turn
	w.bare.ID, w.bare.RotationID, w.bare.Status = uuid.Must(uuid.NewV7()), w.proposed.ID, "proposed"
	w.bare.StartsAt, w.bare.EndsAt = w.bare.StartsAt.AddDate(0, 0, 7), w.bare.EndsAt.AddDate(0, 0, 7)
	w.cancelled = w.turn
	w.cancelled.ID, w.cancelled.Status = uuid.Must(uuid.NewV7()), "cancelled"
	w.cancelled.StartsAt, w.cancelled.EndsAt = w.turn.StartsAt.Add(time.Hour), w.turn.EndsAt.Add(time.Hour)
	w.report = repotest.TurnReport(t, tx, g, func(v *repo.TurnReportValues) { v.TurnID = w.turn.ID })
	w.key = repo.IdempotencyKeyValues{GardenID: g, TokenID: w.token.ID, Key: "k", Fingerprint: make([]byte, 32), Result: json.RawMessage("{}")}
	w.weather = repo.WeatherDay{GardenID: g, Station: "roof", Day: repotest.FirstDay, Kind: "measured", TmaxC: new(25.0)}
	inGarden(t, tx, g, func(q *repo.Queries) error {
		_, err := q.WeatherDayPut(t.Context(), []repo.WeatherDay{w.weather})
		audit := repo.AuditEntryValues{GardenID: g, ID: uuid.Must(uuid.NewV7()), Actor: "Wren", Action: "create", Entity: "plot", EntityID: "x"}
		var made error
		nightly := rotationValues(g)
		nightly.Nightly = true
		w.undocumented, made = q.RotationInsert(t.Context(), nightly)
		planning := rotationValues(g)
		planning.Status = "planning"
		var began, ruled error
		w.planning, began = q.RotationInsert(t.Context(), planning)
		var off, unsigned error
		w.unsigned, unsigned = q.WebhookInsert(t.Context(), webhook(g))
		w.off, off = q.WaterOffInsert(t.Context(), waterOff(g, w.unused.line.ID))
		w.cancelled.WaterOffID = &w.off.ID
		_, ruled = q.PlanningRulesPut(t.Context(), g, json.RawMessage("{}"), 1)
		_, climate := q.ClimateDocumentPut(t.Context(), g, "normals", json.RawMessage("[]"), 1)
		return errors.Join(err, made, began, ruled, off, unsigned, climate, q.RotationDocumentInsert(t.Context(), g, w.planning.ID, []byte("in"), nil), q.TurnPut(t.Context(), []repo.Turn{w.bare, w.cancelled}), q.AuditEntryInsert(t.Context(), audit),
			q.IdempotencyKeyInsert(t.Context(), w.key))
	})
	return w
}

func waterOff(garden, line uuid.UUID) repo.WaterOffValues {
	return repo.WaterOffValues{
		ServiceLineID: &line, OffAt: repotest.FirstDay, Reason: "Burst pipe", GardenID: garden, ID: uuid.Must(uuid.NewV7()), Revision: 1,
	}
}

func webhook(garden uuid.UUID) repo.WebhookValues {
	return repo.WebhookValues{
		Url: "https://valves.example.org/new", Events: []string{"water.off"}, Active: true, GardenID: garden, ID: uuid.Must(uuid.NewV7()), Revision: 1,
	}
}

func rotationValues(garden uuid.UUID) repo.RotationValues {
	return repo.RotationValues{
		Status: "proposed", StartsAt: repotest.FirstDay, EndsAt: repotest.FirstDay.AddDate(0, 0, 7), FirstDay: repotest.FirstDay, Days: 7,
		EngineVersion: "test", Effort: "fast", InputSha256: make([]byte, 32), GardenID: garden, ID: uuid.Must(uuid.NewV7()), Revision: 1,
	}
}

// withID is the same values under another id.
func withID[V any](v V, id uuid.UUID) V {
	reflect.ValueOf(&v).Elem().FieldByName("ID").Set(reflect.ValueOf(id))
	return v
}

func inGarden(t *testing.T, tx pgx.Tx, garden uuid.UUID, fn func(*repo.Queries) error) {
	t.Helper()
	err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error { return fn(repo.New(tx)) })
	if err != nil {
		t.Fatal(err)
	}
}

// calls is one sensible call of every query, by its name, on the records of a world. New records come with new ids.
func (w world) calls() map[string][]any {
	g, early, none := w.garden.GardenID, time.Unix(0, 0).UTC(), uuid.Nil
	late := repo.EndOfTime
	first, last := repotest.FirstDay, repotest.FirstDay.AddDate(0, 0, 14)
	id := uuid.Must(uuid.NewV7())
	garden := repo.GardenValues{
		Name: "New", TimeZone: "UTC", Units: "metric", Language: "en", Fairness: "need", GardenID: g, Revision: w.garden.Revision,
	}
	source := repo.WaterSourceValues{Name: "New", Kind: "spigot", ServiceLineID: &w.line.ID, HoseConnections: 1, GardenID: g, ID: w.source.ID, Revision: 1}
	plot := repo.PlotValues{Label: "New", AreaM2: 5, Method: "none", GardenID: g, ID: w.plot.ID, Revision: 1}
	member := repo.MemberValues{Name: "Ash", Role: "gardener", GardenID: g, ID: w.member.ID, Revision: 1}
	line := repo.ServiceLineValues{Name: "New", FlowLimitLPerMin: 30, GardenID: g, ID: w.line.ID, Revision: 1}
	hours := repo.WaterHoursValues{Weekdays: []int16{1}, StartLocal: "07:00", EndLocal: "08:00", GardenID: g, ID: w.hours.ID, Revision: 1}
	closure := repo.ClosureValues{
		FirstDay: first, LastDay: last, Weekdays: []int16{}, DayParity: "odd", ExemptMethods: []string{"can"}, Rule: "Drought",
		GardenID: g, ID: w.closure.ID, Revision: 1,
	}
	holder := repo.PlotHolderValues{PlotID: w.plot.ID, MemberID: w.member.ID, HeldFrom: first.AddDate(1, 0, 0), GardenID: g, ID: w.holder.ID, Revision: 1}
	another := holder
	another.MemberID = w.unused.member.ID
	layout := repo.LayoutValues{
		PlotID: w.plot.ID, WaterSourceID: w.source.ID, Name: "New", Status: "draft", LatestNumber: 1, GardenID: g, ID: w.layout.ID, Revision: 1,
	}
	revision := repo.LayoutRevisionValues{Status: "superseded", Spec: json.RawMessage("{}"), Author: "Ash", GardenID: g, LayoutID: w.layout.ID, Number: 1}
	pipe := repo.StoredPipeValues{
		Label: "New", Piece: json.RawMessage("{}"), Plugged: json.RawMessage("[]"), Condition: "good", GardenID: g, ID: w.pipe.ID, Revision: 1,
	}
	planting := repo.PlantingValues{
		PlotID: w.plot.ID, Crop: "bean", CropConstants: json.RawMessage("{}"), PlantedOn: first, AreaM2: 1, WettedFraction: 0.5, Mulch: "none",
		LayoutID: &w.layout.ID, GardenID: g, ID: w.planting.ID, Revision: 1,
	}
	crop := repo.OwnCropValues{Code: "amaranth", Constants: json.RawMessage("{}"), GardenID: g, Revision: 1}
	turn := w.bare
	turn.ID = id
	weather := w.weather
	weather.TmaxC = new(30.0)
	return map[string][]any{
		"AuditEntryInsert":           {repo.AuditEntryValues{GardenID: g, ID: id, Actor: "Ash", Action: "create", Entity: "plot", EntityID: "y"}},
		"AuditEntryListPage":         {g, late, uuid.Max, int32(10)},
		"ClimateDocumentGet":         {g, "normals"},
		"ClimateDocumentPut":         {g, "normals", json.RawMessage("[1]"), int64(2)},
		"ClosureByID":                {g, w.closure.ID},
		"ClosureDelete":              {g, w.closure.ID, int64(1)},
		"ClosureInsert":              {withID(closure, id)},
		"ClosureList":                {g},
		"ClosureListPage":            {g, early, none, int32(10)},
		"ClosureUpdate":              {closure},
		"DigByID":                    {g, w.dig.ID},
		"DigDelete":                  {g, w.dig.ID, int64(1)},
		"DigInsert":                  {repo.DigValues{PlotID: w.plot.ID, Day: first, DepletionMm: new(4.0), Reporter: "Ash", GardenID: g, ID: id, Revision: 1}},
		"DigList":                    {g, last},
		"DigListPage":                {g, (*uuid.UUID)(nil), early, none, int32(10)},
		"FlowTestByID":               {g, w.test.ID},
		"FlowTestDelete":             {g, w.test.ID, int64(1)},
		"FlowTestInsert":             {repo.FlowTestValues{WaterSourceID: w.source.ID, TestedAt: first, Kind: "static", HeadM: new(30.0), GardenID: g, ID: id, Revision: 1}},
		"FlowTestList":               {g},
		"FlowTestListBySource":       {g, w.source.ID},
		"FlowTestListPage":           {g, w.source.ID, early, none, int32(10)},
		"GardenByID":                 {g},
		"GardenLock":                 {g},
		"GardenPlanTouch":            {g},
		"GardenScheduleTouch":        {g},
		"GardenUpdate":               {garden},
		"IdempotencyKeyByKey":        {g, w.token.ID, "k"},
		"IdempotencyKeyDeleteBefore": {g, late},
		"IdempotencyKeyInsert":       {repo.IdempotencyKeyValues{GardenID: g, TokenID: w.token.ID, Key: "new", Fingerprint: make([]byte, 32), Result: json.RawMessage("{}")}},
		"LayoutAccepted":             {g, w.layout.ID},
		"LayoutByID":                 {g, w.layout.ID},
		"LayoutInsert":               {withID(layout, id)},
		"LayoutLatest":               {g, w.layout.ID},
		"LayoutList":                 {g},
		"LayoutListAccepted":         {g},
		"LayoutListPage":             {g, repo.LayoutFilter{}, "", none, int32(10)},
		"LayoutRevisionByNumber":     {g, w.layout.ID, int32(1)},
		"LayoutRevisionInsert": {repo.LayoutRevisionValues{
			Status: "draft", Spec: json.RawMessage("{}"), Author: "Ash", GardenID: g, LayoutID: w.layout.ID, Number: 2,
		}},
		"LayoutRevisionListPage":   {g, w.layout.ID, int32(0), int32(10)},
		"LayoutRevisionUpdate":     {revision},
		"LayoutUpdate":             {layout},
		"MemberByID":               {g, w.member.ID},
		"MemberDelete":             {g, w.unused.member.ID, int64(1)},
		"MemberInsert":             {withID(member, id)},
		"MemberList":               {g},
		"MemberListPage":           {g, "", none, int32(10)},
		"MemberUpdate":             {member},
		"OwnCropByID":              {g, w.crop.ID},
		"OwnCropDelete":            {g, w.crop.ID, int64(1)},
		"OwnCropInsert":            {withID(crop, id)},
		"OwnCropList":              {g},
		"OwnCropListPage":          {g, "", int32(10)},
		"OwnCropUpdate":            {withID(crop, w.crop.ID)},
		"RainReadingByID":          {g, w.reading.ID},
		"RainReadingDelete":        {g, w.reading.ID, int64(1)},
		"RainReadingInsert":        {repo.RainReadingValues{PlotID: w.plot.ID, Day: first, RainMm: 2, Reporter: "Ash", GardenID: g, ID: id, Revision: 1}},
		"RainReadingList":          {g, first, last},
		"RainReadingListPage":      {g, (*uuid.UUID)(nil), early, none, int32(10)},
		"StoredPipeByID":           {g, w.pipe.ID},
		"StoredPipeDelete":         {g, w.pipe.ID, int64(1)},
		"StoredPipeDeleteByLabel":  {g, []string{w.pipe.Label}},
		"StoredPipeInsert":         {withID(pipe, id)},
		"StoredPipeList":           {g},
		"StoredPipeListPage":       {g, repo.StoredPipeFilter{}, "", none, int32(10)},
		"StoredPipeRelease":        {g, &w.layout.ID, []string{}},
		"StoredPipeReserve":        {&w.layout.ID, g, []string{w.free.Label}},
		"StoredPipeUpdate":         {pipe},
		"SeasonUpdate":             {&first, &last, g},
		"WorkshopUpdate":           {json.RawMessage("{}"), g, int64(1)},
		"PlanningRulesGet":         {g},
		"PlanningRulesPut":         {g, json.RawMessage("{}"), int64(2)},
		"PlantingByID":             {g, w.planting.ID},
		"PlantingDelete":           {g, w.planting.ID, int64(1)},
		"PlantingInsert":           {withID(planting, id)},
		"PlantingList":             {g},
		"PlantingListPage":         {g, (*uuid.UUID)(nil), early, none, int32(10)},
		"PlantingUpdate":           {planting},
		"PlotByID":                 {g, w.plot.ID},
		"PlotDelete":               {g, w.unused.plot.ID, int64(1)},
		"PlotHolderByID":           {g, w.holder.ID},
		"PlotHolderDelete":         {g, w.holder.ID, int64(1)},
		"PlotHolderInsert":         {withID(another, id)},
		"PlotHolderList":           {g},
		"PlotHolderListOnDay":      {g, w.plot.ID, first},
		"PlotHolderListPage":       {g, w.plot.ID, early, none, int32(10)},
		"PlotHolderUpdate":         {holder},
		"PlotInsert":               {withID(plot, id)},
		"PlotList":                 {g},
		"PlotListHeldBy":           {g, w.member.ID, first},
		"PlotListPage":             {g, "", none, int32(10)},
		"PlotUpdate":               {plot},
		"RotationByID":             {g, w.published.ID},
		"RotationCut":              {first.Add(time.Hour), g},
		"RotationDocumentInsert":   {g, w.undocumented.ID, []byte("in"), []byte("out")},
		"RotationFailStuck":        {"lost", g, -60.0},
		"RotationInput":            {g, w.published.ID},
		"RotationInsert":           {rotationValues(g)},
		"RotationListPage":         {g, late, uuid.Max, int32(10)},
		"RotationListPublishedIn":  {g, first, last},
		"RotationOutput":           {g, w.published.ID},
		"RotationOutputPut":        {[]byte("out"), g, w.planning.ID},
		"RotationLatestNightly":    {g},
		"RotationPlanning":         {g},
		"RotationProgress":         {"zones", new(0.5), g, w.planning.ID},
		"RotationSettle":           {"failed", new("lost"), g, w.planning.ID},
		"RotationPublish":          {first, g, w.proposed.ID, int64(1)},
		"RotationPublishedAt":      {g, first.Add(time.Hour)},
		"RotationPublishedNext":    {g, first.AddDate(0, 0, -3)},
		"RotationSupersede":        {first, g, first, last},
		"RotationWithdrawNightly":  {first, g},
		"ServiceLineByID":          {g, w.line.ID},
		"ServiceLineDelete":        {g, w.unused.line.ID, int64(1)},
		"ServiceLineInsert":        {withID(line, id)},
		"ServiceLineList":          {g},
		"ServiceLineListPage":      {g, "", none, int32(10)},
		"ServiceLineUpdate":        {line},
		"TokenByID":                {g, w.token.ID},
		"TokenBySecret":            {g, w.token.SecretSha256},
		"TokenDelete":              {g, w.token.ID, int64(1)},
		"TokenInsert":              {repo.TokenValues{Label: "new", Role: "integration", SecretSha256: slices.Repeat([]byte{7}, 32), GardenID: g, ID: id, Revision: 1}},
		"TokenListPage":            {g, early, none, int32(10)},
		"TurnByID":                 {g, w.turn.ID},
		"TurnCancelOff":            {g, w.off.ID, []uuid.UUID{w.source.ID}},
		"TurnCut":                  {w.turn.StartsAt.Add(time.Minute), g, []uuid.UUID{w.source.ID}},
		"TurnMemberCut":            {w.turn.StartsAt.Add(time.Minute), g, []uuid.UUID{w.source.ID}},
		"WaterOffEnd":              {late, g, w.unused.line.ID},
		"WaterOffInsert":           {waterOff(g, w.line.ID)},
		"WaterOffListPage":         {g, late, uuid.Max, int32(10)},
		"WaterOffListSince":        {g, first},
		"TurnCancelFrom":           {g, w.published.ID, first},
		"TurnRestore":              {g, []uuid.UUID{w.source.ID}, first},
		"TurnDelete":               {g, []uuid.UUID{w.bare.ID}},
		"TurnListByRotation":       {g, w.published.ID},
		"TurnListPlannedIn":        {g, first, last},
		"TurnMemberDeleteByTurns":  {g, []uuid.UUID{w.turn.ID}},
		"TurnMemberInsert":         {[]repo.TurnMember{{GardenID: g, TurnID: w.bare.ID, PlotID: w.plot.ID, LayoutID: &w.layout.ID, VolumeL: 5}}},
		"TurnMemberListByRotation": {g, w.published.ID},
		"TurnMemberListByTurns":    {g, []uuid.UUID{w.turn.ID}},
		"TurnPublish":              {g, w.proposed.ID},
		"TurnPut":                  {[]repo.Turn{turn}},
		"TurnReportByID":           {g, w.report.ID},
		"TurnReportInsert":         {repo.TurnReportValues{TurnID: w.turn.ID, Outcome: "missed", Reporter: "Ash", GardenID: g, ID: id}},
		"TurnReportListIn":         {g, first, last},
		"TurnReportListPage":       {g, w.turn.ID, early, none, int32(10)},
		"TurnSchedule":             {g, repo.TurnFilter{}},
		"TurnSetLocked":            {true, g, w.turn.ID, int64(1)},
		"TurnSetOpener":            {&w.member.ID, g, w.turn.ID, int64(1)},
		"WaterHoursByID":           {g, w.hours.ID},
		"WaterHoursDelete":         {g, w.hours.ID, int64(1)},
		"WaterHoursInsert":         {withID(hours, id)},
		"WaterHoursList":           {g},
		"WaterHoursListPage":       {g, early, none, int32(10)},
		"WaterHoursUpdate":         {hours},
		"WaterSourceByID":          {g, w.source.ID},
		"WaterSourceDelete":        {g, w.unused.source.ID, int64(1)},
		"WaterSourceInsert":        {withID(source, id)},
		"WaterSourceList":          {g},
		"WaterSourceListPage":      {g, "", none, int32(10)},
		"WaterSourceUpdate":        {source},
		"WebhookByID":              {g, w.hook.ID},
		"WebhookCount":             {g},
		"WebhookDelete":            {g, w.hook.ID, int64(1)},
		"WebhookInsert":            {webhook(g)},
		"WebhookListFor":           {g, "rotation.published"},
		"WebhookListPage":          {g, early, none, int32(10)},
		"WebhookNote":              {repo.WebhookNoteValues{LastTriedAt: &first, LastOutcome: new("delivered"), GardenID: g, ID: w.hook.ID}},
		"WebhookSecretGet":         {g, w.hook.ID},
		"WebhookSecretInsert":      {g, w.unsigned.ID, "rts_new"},
		"WebhookUpdate":            {withID(webhook(g), w.hook.ID)},
		"WeatherDayList":           {g, first, last},
		"WeatherDayListPage":       {g, repo.WeatherFilter{}, repo.WeatherKey{}, int32(10)},
		"WeatherDayPut":            {[]repo.WeatherDay{weather}},
	}
}

// beyond names the queries that are not about one garden's rows.
var beyond = map[string]string{
	"GardenDirectoryInsert": "the directory lies outside row security",
	"GardenDirectoryList":   "the directory lies outside row security",
	"GardenInsert":          "tried by TestGardenInsert_onlyInItsOwnGarden",
	"OperatorTokenBySecret": "belongs to the installation",
	"OperatorTokenInsert":   "belongs to the installation; the application role may not",
	"JobInsert":             "the job queue lies outside row security; tried by service's tests of jobs",
	"WithTx":                "is no query",
}

// outcome is what a query did: how many rows it gave or changed, -1 when it doesn't say.
type outcome struct {
	rows int64
	err  error
}

// call runs a query by its name inside a savepoint, looks at what is there after it, and takes it back.
func call(t *testing.T, tx pgx.Tx, name string, args []any, after func(pgx.Tx)) outcome {
	t.Helper()
	point, err := tx.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	in := []reflect.Value{reflect.ValueOf(t.Context())}
	for _, a := range args {
		in = append(in, reflect.ValueOf(a))
	}
	out := reflect.ValueOf(repo.New(point)).MethodByName(name).Call(in)
	o := outcome{rows: -1}
	o.err, _ = out[len(out)-1].Interface().(error)
	if len(out) == 2 && o.err == nil {
		o.rows = rows(out[0])
	}
	if after != nil && o.err == nil {
		after(point)
	}
	if err := point.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	return o
}

func rows(v reflect.Value) int64 {
	switch {
	case v.Kind() == reflect.Int64:
		return v.Int()
	case v.Kind() == reflect.Slice && v.Type().Elem().Kind() != reflect.Uint8:
		return int64(v.Len())
	}
	return 1 // one row, or the bytes of one
}

// dump is every row of the garden that a transaction has entered.
func dump(t *testing.T, tx pgx.Tx) string {
	t.Helper()
	all := ""
	for _, table := range names(t, tx, `SELECT relname FROM pg_class WHERE relrowsecurity AND relnamespace = 'public'::regnamespace ORDER BY 1`) {
		var rows string
		sql := fmt.Sprintf(`SELECT coalesce(string_agg(x::text, E'\n' ORDER BY x::text), '') FROM %s AS x`, pgx.Identifier{table}.Sanitize())
		if err := tx.QueryRow(t.Context(), sql).Scan(&rows); err != nil {
			t.Fatal(err)
		}
		if rows == "" {
			t.Fatalf("the garden has no row in %s", table)
		}
		all += table + "\n" + rows + "\n"
	}
	return all
}

// Each query does something in its own garden. Asked from another garden, or from none, for the first garden's records
// it sees nothing and changes nothing.
func TestQueries_stayInTheirGarden(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	w := makeWorld(t, tx)
	stranger := repotest.Garden(t, tx).GardenID
	calls := w.calls()

	repotest.Enter(t, tx, w.garden.GardenID)
	before := dump(t, tx)
	tried := 0
	for m := range reflect.TypeFor[*repo.Queries]().Methods() {
		if beyond[m.Name] != "" {
			continue
		}
		args, known := calls[m.Name]
		if !known {
			t.Errorf("%s is not tried", m.Name)
			continue
		}
		tried++

		repotest.Enter(t, tx, w.garden.GardenID)
		own := call(t, tx, m.Name, args, func(point pgx.Tx) {
			if m.Type.NumOut() == 1 && dump(t, point) == before {
				t.Errorf("%s changes nothing in its own garden", m.Name)
			}
		})
		if own.err != nil || own.rows == 0 {
			t.Errorf("%s in its own garden: %d rows, %v", m.Name, own.rows, own.err)
		}
		for _, from := range []uuid.UUID{stranger, uuid.Nil} {
			if from == uuid.Nil {
				leave(t, tx)
			} else {
				repotest.Enter(t, tx, from)
			}
			got := call(t, tx, m.Name, args, func(point pgx.Tx) {
				repotest.Enter(t, point, w.garden.GardenID)
				if dump(t, point) != before {
					t.Errorf("%s from garden %s changes the first garden", m.Name, from)
				}
			})
			if !nothing(got) {
				t.Errorf("%s from garden %s: %d rows, %v; want none", m.Name, from, got.rows, got.err)
			}
		}
	}
	if tried != len(calls) {
		t.Errorf("%d queries tried, %d calls written", tried, len(calls))
	}
}

// nothing says that a query gave no rows, changed none, or was refused by row security.
func nothing(o outcome) bool {
	var pg *pgconn.PgError
	if errors.As(o.err, &pg) {
		return pg.Code == "42501"
	}
	return errors.Is(o.err, pgx.ErrNoRows) || o.err == nil && o.rows <= 0
}

func leave(t *testing.T, tx pgx.Tx) {
	t.Helper()
	if _, err := tx.Exec(t.Context(), `SELECT set_config('app.garden_id', '', true)`); err != nil {
		t.Fatal(err)
	}
}

// refused runs fn in the garden and returns the rule that it broke.
func refused(t *testing.T, tx pgx.Tx, garden uuid.UUID, fn func(context.Context, *repo.Queries) error) *repo.ConstraintError {
	t.Helper()
	err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error {
		if err := fn(t.Context(), repo.New(tx)); err != nil {
			return err
		}
		_, err := tx.Exec(t.Context(), `SET CONSTRAINTS ALL IMMEDIATE`)
		return err
	})
	var broken *repo.ConstraintError
	if !errors.As(err, &broken) {
		t.Errorf("got %v, want a broken rule", err)
		return &repo.ConstraintError{}
	}
	return broken
}

// A garden can't refer to another's records, so it can't find out which there are.
func TestForeignKeys_refuseAnotherGardensRecords(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	w := makeWorld(t, tx)
	own := makeWorld(t, tx)
	g := own.garden.GardenID
	id := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	for rule, fn := range map[string]func(context.Context, *repo.Queries) error{
		"token_member_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.TokenInsert(ctx, repo.TokenValues{
				Label: "x", Role: "gardener", MemberID: &w.member.ID, SecretSha256: slices.Repeat([]byte{9}, 32), GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"water_source_service_line_fkey": func(ctx context.Context, q *repo.Queries) error {
			v := repo.WaterSourceValues{Name: "x", Kind: "spigot", ServiceLineID: &w.line.ID, HoseConnections: 1, GardenID: g, ID: own.source.ID, Revision: 1}
			_, err := q.WaterSourceUpdate(ctx, v)
			return err
		},
		"flow_test_water_source_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.FlowTestInsert(ctx, repo.FlowTestValues{
				WaterSourceID: w.source.ID, TestedAt: repotest.FirstDay, Kind: "static", HeadM: new(20.0), GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"plot_holder_plot_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.PlotHolderInsert(ctx, repo.PlotHolderValues{
				PlotID: w.plot.ID, MemberID: own.member.ID, HeldFrom: repotest.FirstDay, GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"plot_holder_member_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.PlotHolderInsert(ctx, repo.PlotHolderValues{
				PlotID: own.plot.ID, MemberID: w.member.ID, HeldFrom: repotest.FirstDay, GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"layout_water_source_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.LayoutInsert(ctx, repo.LayoutValues{
				PlotID: own.plot.ID, WaterSourceID: w.source.ID, Name: "x", Status: "draft", LatestNumber: 1, GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"planting_layout_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.PlantingInsert(ctx, repo.PlantingValues{
				PlotID: own.plot.ID, Crop: "bean", CropConstants: json.RawMessage("{}"), PlantedOn: repotest.FirstDay, AreaM2: 1,
				WettedFraction: 0.5, Mulch: "none", LayoutID: &w.layout.ID, GardenID: g, ID: id(), Revision: 1,
			})
			return err
		},
		"turn_rotation_fkey": func(ctx context.Context, q *repo.Queries) error {
			v := own.bare
			v.ID, v.RotationID = id(), w.proposed.ID
			return q.TurnPut(ctx, []repo.Turn{v})
		},
		"turn_opener_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.TurnSetOpener(ctx, &w.member.ID, g, own.turn.ID, 1)
			return err
		},
		"turn_member_turn_fkey": func(ctx context.Context, q *repo.Queries) error {
			return q.TurnMemberInsert(ctx, []repo.TurnMember{{GardenID: g, TurnID: w.turn.ID, PlotID: own.plot.ID, VolumeL: 1}})
		},
		"turn_member_plot_fkey": func(ctx context.Context, q *repo.Queries) error {
			return q.TurnMemberInsert(ctx, []repo.TurnMember{{GardenID: g, TurnID: own.bare.ID, PlotID: w.plot.ID, VolumeL: 1}})
		},
		"turn_report_turn_fkey": func(ctx context.Context, q *repo.Queries) error {
			_, err := q.TurnReportInsert(ctx, repo.TurnReportValues{TurnID: w.turn.ID, Outcome: "done", Reporter: "x", GardenID: g, ID: id()})
			return err
		},
		"rotation_document_rotation_fkey": func(ctx context.Context, q *repo.Queries) error {
			return q.RotationDocumentInsert(ctx, g, w.undocumented.ID, []byte("in"), []byte("out"))
		},
	} {
		t.Run(rule, func(t *testing.T) {
			if broken := refused(t, tx, g, fn); broken.Constraint != rule || broken.Kind != repo.ForeignKey {
				t.Errorf("broke %s %s, want foreign key %s", broken.Kind, broken.Constraint, rule)
			}
		})
	}
}

func TestGardenInsert_onlyInItsOwnGarden(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	own := repotest.Garden(t, tx)
	values := repo.GardenValues{
		Name: "Other", TimeZone: "UTC", Units: "metric", Language: "en", Fairness: "need", GardenID: uuid.Must(uuid.NewV7()), Revision: 1,
	}
	err := repo.InTenant(t.Context(), tx, own.GardenID, func(tx pgx.Tx) error {
		q := repo.New(tx)
		if err := q.GardenDirectoryInsert(t.Context(), values.GardenID); err != nil {
			t.Fatal(err)
		}
		_, err := q.GardenInsert(t.Context(), values)
		return err
	})
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || pg.Code != "42501" {
		t.Errorf("a garden made from inside another: %v, want it to be forbidden (42501)", err)
	}
	broken := refused(t, tx, values.GardenID, func(ctx context.Context, q *repo.Queries) error {
		_, err := q.GardenInsert(ctx, values)
		return err
	})
	if broken.Kind != repo.ForeignKey || broken.Constraint != "garden_garden_id_fkey" {
		t.Errorf("a garden outside the directory broke %s %s", broken.Kind, broken.Constraint)
	}
}
