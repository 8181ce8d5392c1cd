package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/csv"
	"rillturn.example/rillturn/api/render/ics"
	"rillturn.example/rillturn/api/render/pdf"
	"rillturn.example/rillturn/api/render/svg"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

type demoCmd struct {
	DatabaseURL string `help:"Address of a Postgres database for its owner. Left out: a private Postgres."`
	Data        string `help:"Folder of the private Postgres." type:"path"`
	Out         string `default:"out" help:"Folder for the documents (.ics, .csv, .svg, .pdf)." type:"path"`
	Once        bool   `help:"Stop after the report."`
	NoInstall   bool   `help:"Never install PostgreSQL, even as root on a system with apt-get."`
	Listen      string `default:"127.0.0.1:8080" help:"Address to listen on."`
}

// Run loads the two invented gardens, plans and publishes their rotations, prints the reports and serves the API.
func (c demoCmd) Run(ctx context.Context, std streams) error {
	db, err := c.database(ctx, std)
	if err != nil {
		return err
	}
	defer func() { _ = db.stop() }()
	pool, err := repo.Open(ctx, db.app)
	if err != nil {
		return err
	}
	defer pool.Close()
	d := &demo{std: std, out: c.Out, pool: pool, clock: newDemoClock()}
	for i, text := range [][]byte{garden.TanagerBend, garden.CinderLane} {
		if err := d.run(ctx, i, text); err != nil {
			return err
		}
	}
	if c.Once {
		return nil
	}
	return d.serve(ctx, db, c.Listen)
}

func (c demoCmd) database(ctx context.Context, std streams) (*database, error) {
	if c.DatabaseURL != "" {
		return givenDatabase(ctx, c.DatabaseURL)
	}
	dir, err := folder(c.Data)
	if err != nil {
		return nil, err
	}
	return privateDatabase(ctx, std, dir, !c.NoInstall)
}

// demoClock is the clock of the demo. The gardens live in July 2015, the year of the weather records, so it begins there
// and runs on from the start of the program.
type demoClock struct {
	at      time.Time
	started time.Time
}

func newDemoClock() *demoClock {
	return &demoClock{at: time.Date(2015, time.July, 5, 19, 0, 0, 0, time.UTC), started: time.Now()}
}

func (c *demoClock) now() time.Time { return c.at.Add(time.Since(c.started)) }

// forward moves the clock, for example to after the first turns.
func (c *demoClock) forward(to time.Time) { c.at, c.started = to, time.Now() }

// demoIDs makes the same ids on every machine: UUIDv7 in their form, with the garden and a counter for randomness.
func demoIDs(garden int) func() uuid.UUID {
	var n uint32
	return func() uuid.UUID {
		n++
		id := uuid.UUID{0x01, 0x4e, 0x5f, 0x00, 0x00, 0x00, 0x70, 0x00, 0x80, 0x00}
		id[11] = byte(garden)
		binary.BigEndian.PutUint32(id[12:], n)
		return id
	}
}

type demo struct {
	std    streams
	out    string
	pool   *pgxpool.Pool
	clock  *demoClock
	loaded []service.Principal
}

// run makes sure that a garden is there with a published rotation, prints its report and writes its schedule.
func (d *demo) run(ctx context.Context, number int, text []byte) error {
	g, err := file.ReadGarden(bytes.NewReader(text))
	if err != nil {
		return fmt.Errorf("garden file: %w", err)
	}
	p, rotation, err := d.found(ctx, number)
	if err != nil {
		return err
	}
	if rotation == nil {
		svc := service.New(d.pool, d.clock.now).WithIDs(demoIDs(number))
		if p, err = loadGarden(ctx, svc, g); err != nil {
			return err
		}
		if rotation, err = publish(ctx, svc, p, g.Horizon); err != nil {
			return err
		}
	}
	d.loaded = append(d.loaded, p)
	if err := d.live(ctx, p, number, g); err != nil {
		return fmt.Errorf("the first days of %s: %w", g.Garden.Name, err)
	}
	return d.report(ctx, p, *rotation)
}

// found looks for the garden of an earlier start. Its ids are known; one without a published rotation was left half-loaded.
func (d *demo) found(ctx context.Context, number int) (service.Principal, *repo.Rotation, error) {
	p := service.Principal{Garden: demoIDs(number)(), Role: service.Coordinator, Name: "demo"}
	svc := service.New(d.pool, d.clock.now)
	if _, err := svc.Garden(ctx, p); err != nil {
		var refused *service.Error
		if errors.As(err, &refused) && refused.Kind == service.NotFound {
			return p, nil, nil
		}
		return p, nil, err
	}
	rotation, err := svc.CurrentRotation(ctx, p)
	if err != nil {
		return p, nil, fmt.Errorf("garden %s of an earlier start has no published rotation, so its loading was cut short; start with an empty folder (--data) or database: %w", p.Garden, err)
	}
	return p, &rotation, nil
}

// publish proposes the rotation of a horizon and puts it into force.
func publish(ctx context.Context, svc *service.Service, p service.Principal, h file.Horizon) (*repo.Rotation, error) {
	proposed, err := svc.ProposeRotation(ctx, p, service.Proposal{FirstDay: &h.FirstDay, Days: h.Days, Effort: h.Effort, Seed: h.Seed})
	if err != nil {
		return nil, fmt.Errorf("propose: %w", err)
	}
	row, err := svc.PublishRotation(ctx, p, proposed.ID, proposed.Revision, false)
	return &row, err
}

// report prints a rotation for a person and writes its documents.
func (d *demo) report(ctx context.Context, p service.Principal, r repo.Rotation) error {
	view, err := d.view(ctx, p, r)
	if err != nil {
		return err
	}
	if err := words.Report(d.std.out, view); err != nil {
		return err
	}
	fmt.Fprintln(d.std.out)
	name := fileName(view.Schedule.GardenName)
	of := func(write func(io.Writer, render.Schedule) error) func(io.Writer) error {
		return func(w io.Writer) error { return write(w, view.Schedule) }
	}
	documents := []struct {
		ending string
		write  func(io.Writer) error
	}{
		{".ics", of(ics.Write)},
		{".csv", of(csv.Write)},
		{".svg", of(svg.Timeline)},
		{"-shares.svg", of(svg.Fairness)},
		{"-schedule.pdf", func(w io.Writer) error { return pdf.Schedule(w, view, pdf.Options{}) }},
		{"-ledger.svg", func(w io.Writer) error { return d.ledger(ctx, w, p) }},
		{"-sheets.pdf", func(w io.Writer) error { return d.sheets(ctx, w, p, view.Schedule.Generated) }},
	}
	for _, doc := range documents {
		if err := create(d.out, name+doc.ending, doc.write); err != nil {
			return err
		}
		fmt.Fprintf(d.std.out, "Written: %s/%s%s\n", d.out, name, doc.ending)
	}
	fmt.Fprintln(d.std.out)
	return nil
}

// sheets prints what it takes to build all layouts of a garden.
func (d *demo) sheets(ctx context.Context, w io.Writer, p service.Principal, made time.Time) error {
	s, err := service.New(d.pool, d.clock.now).GardenSheet(ctx, p)
	if err != nil {
		return err
	}
	work, err := file.WorkSheet(s.Sheet)
	if err != nil {
		return err
	}
	names, err := api.NamesOfSheet(s.Garden, s.Sheet)
	if err != nil {
		return err
	}
	for i, l := range s.Layouts {
		names.Layouts[i].Revision = l.Number
	}
	return pdf.Layouts(w, api.SheetDocuments(work, names), pdf.Options{Made: made})
}

// view reads what was stored with the rotation: its input and its plan.
func (d *demo) view(ctx context.Context, p service.Principal, r repo.Rotation) (render.Report, error) {
	svc := service.New(d.pool, d.clock.now)
	input, _, err := svc.RotationInput(ctx, p, r.ID)
	if err != nil {
		return render.Report{}, err
	}
	output, _, err := svc.RotationPlan(ctx, p, r.ID)
	if err != nil {
		return render.Report{}, err
	}
	var g file.Garden
	var plan file.GardenPlan
	if err := errors.Join(json.Unmarshal(input, &g), json.Unmarshal(output, &plan)); err != nil {
		return render.Report{}, err
	}
	return api.PlanReport(g, plan, *r.PublishedAt)
}

func fileName(garden string) string {
	var b bytes.Buffer
	for _, r := range garden {
		switch {
		case r >= 'A' && r <= 'Z':
			b.WriteRune(r + 'a' - 'A')
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		default:
			b.WriteByte('-')
		}
	}
	return b.String()
}

// serve prints fresh tokens and requests to try, and answers them.
func (d *demo) serve(ctx context.Context, db *database, address string) error {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return err
	}
	d.clock.forward(demoServes)
	svc := service.New(d.pool, d.clock.now)
	toReport, err := d.turnToReport(ctx, svc)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	log := slog.New(slog.NewTextHandler(d.std.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	jobs, err := svc.StartJobs(ctx, log)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	if err := d.invite(ctx, svc, db, "http://"+listener.Addr().String()+"/v1", toReport); err != nil {
		return errors.Join(err, listener.Close(), jobs())
	}
	return errors.Join(serveHTTP(ctx, listener, svc, log), jobs())
}

// turnToReport is the last turn of the first garden that has run and that nobody reported.
func (d *demo) turnToReport(ctx context.Context, svc *service.Service) (repo.ScheduledTurn, error) {
	turns, err := d.pastTurns(ctx, svc, d.loaded[0])
	if err != nil {
		return repo.ScheduledTurn{}, err
	}
	for _, t := range slices.Backward(turns) {
		reports, _, err := svc.Reports(ctx, d.loaded[0], t.ID, service.Page{Limit: 1})
		if err != nil || len(reports) == 0 {
			return t, err
		}
	}
	return repo.ScheduledTurn{}, errors.New("every turn that has run is reported")
}
