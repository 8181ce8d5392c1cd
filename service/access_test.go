package service

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// everyAction is the list that the tables below have to cover.
var everyAction = []Action{
	ReadSite, ReadPeople, ReadSchedule, ReadWeather, Administer, DrawLayout, WriteWeather, ReportTurn, OpenGarden,
}

func TestMay_rolesAndActions(t *testing.T) {
	t.Parallel()
	for role, want := range map[Role]string{ // one letter an action, in the order of everyAction
		Coordinator: "yyyyyyyyn",
		Gardener:    "yyyynynyn",
		Integration: "ynyynnyyn",
		Operator:    "nnnnnnnny",
		"visitor":   "nnnnnnnnn",
		"":          "nnnnnnnnn",
	} {
		for i, a := range everyAction {
			err := Principal{Role: role}.may(a)
			if (err == nil) != (want[i] == 'y') {
				t.Errorf("%q, action %d: %v, want %c", role, a, err, want[i])
			}
			if err != nil {
				wantKind(t, err, Forbidden)
			}
		}
	}
}

// What a gardener may do depends on the plots held today, on the garden's calendar.
func TestHolds_onlyOnTheDaysOfTheHolder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	day := func(s string) time.Time { return day(t, s).Time }
	for _, c := range []struct {
		name     string
		from, to string
		now      string
		want     Kind
	}{
		{"holds since June", "2026-06-01", "", "2026-07-06T15:00:00Z", 0},
		{"first day", "2026-07-06", "", "2026-07-06T15:00:00Z", 0},
		{"begins tomorrow", "2026-07-07", "", "2026-07-06T15:00:00Z", Forbidden},
		{"last day is today", "2026-06-01", "2026-07-06", "2026-07-06T15:00:00Z", 0},
		{"left yesterday", "2026-06-01", "2026-07-05", "2026-07-06T15:00:00Z", Forbidden},
		{"still the last day in the garden, the next in Greenwich", "2026-06-01", "2026-07-06", "2026-07-07T05:00:00Z", 0},
		{"the day after the last has begun in the garden", "2026-06-01", "2026-07-06", "2026-07-07T07:00:00Z", Forbidden},
	} {
		v := repo.PlotHolderValues{PlotID: w.plot, MemberID: *w.gardener.Member, HeldFrom: day(c.from)}
		if c.to != "" {
			v.HeldTo = new(day(c.to))
		}
		var err error
		if w.holder, err = w.ReplaceHolder(t.Context(), w.coordinator, w.holder.ID, w.holder.Revision, v); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if w.now, err = time.Parse(time.RFC3339, c.now); err != nil {
			t.Fatal(err)
		}
		_, err = w.CreateLayout(t.Context(), w.gardener, repo.LayoutValues{PlotID: w.plot, WaterSourceID: w.source, Name: c.name}, tidy(t))
		if (err == nil) != (c.want == 0) {
			t.Errorf("%s: %v", c.name, err)
		}
		if err != nil {
			wantKind(t, err, c.want)
		}
	}
}

func TestGardener_changesOwnPlotsOnly(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	own := must[repo.LayoutDocument](t)(w.CreateLayout(ctx, w.gardener, w.layoutValues(w.plot), tidy(t))).Layout
	foreign := must[repo.LayoutDocument](t)(w.CreateLayout(ctx, w.coordinator, w.layoutValues(w.foreignPlot), tidy(t))).Layout
	grown := must[repo.Planting](t)(w.CreatePlanting(ctx, w.coordinator, w.plantingValues(w.foreignPlot)))
	_, planting := w.CreatePlanting(ctx, w.gardener, w.plantingValues(w.foreignPlot))
	_, drawing := w.CreateLayout(ctx, w.gardener, w.layoutValues(w.foreignPlot), tidy(t))
	_, replacing := w.ReplaceLayout(ctx, w.gardener, foreign.ID, foreign.Revision, w.layoutValues(w.foreignPlot), tidy(t))
	_, submitting := w.SubmitLayout(ctx, w.gardener, foreign.ID, foreign.Revision)
	_, retiring := w.RetireLayout(ctx, w.gardener, foreign.ID, foreign.Revision)
	_, accepting := w.AcceptLayout(ctx, w.gardener, own.ID, own.Revision)
	_, replanting := w.ReplacePlanting(ctx, w.gardener, grown.ID, grown.Revision, w.plantingValues(w.foreignPlot))
	_, moving := w.ReplacePlanting(ctx, w.gardener, grown.ID, grown.Revision, w.plantingValues(w.plot))
	for name, err := range map[string]error{
		"plants elsewhere": planting, "draws elsewhere": drawing, "changes another's layout": replacing, "submits another's layout": submitting,
		"retires another's layout": retiring, "accepts the own layout": accepting, "changes another's planting": replanting,
		"moves another's planting to the own plot": moving,
		"removes another's planting":               w.DeletePlanting(ctx, w.gardener, grown.ID, grown.Revision),
	} {
		if err == nil {
			t.Errorf("a gardener %s", name)
			continue
		}
		wantKind(t, err, Forbidden)
	}
	_, err := w.SubmitLayout(ctx, w.gardener, own.ID, own.Revision)
	wantKind(t, err, 0)
}

func (w *world) layoutValues(plot uuid.UUID) repo.LayoutValues {
	return repo.LayoutValues{PlotID: plot, WaterSourceID: w.source, Name: "rows"}
}

func (w *world) plantingValues(plot uuid.UUID) repo.PlantingValues {
	return repo.PlantingValues{
		PlotID: plot, Crop: "lettuce", PlantedOn: repotest.FirstDay, AreaM2: 10, WettedFraction: 0.4, Mulch: "none",
	}
}

func TestOperator_opensGardensAndSeesNone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	opened, err := w.CreateGarden(t.Context(), w.operator, gardenValues(), "Wren")
	if err != nil {
		t.Fatal(err)
	}
	first, err := w.Authenticate(t.Context(), opened.Secret)
	if err != nil {
		t.Fatal(err)
	}
	if first.Role != Coordinator || first.Garden != opened.Garden.GardenID || first.Garden == w.garden {
		t.Errorf("the first token is %+v", first)
	}
	asked := w.operator
	asked.Garden = opened.Garden.GardenID // even one that names a garden
	_, err = w.Garden(t.Context(), asked)
	wantKind(t, err, Forbidden)
	_, _, err = w.Members(t.Context(), asked, Page{Limit: 10})
	wantKind(t, err, Forbidden)
	_, err = w.CreateGarden(t.Context(), w.coordinator, gardenValues(), "Wren")
	wantKind(t, err, Forbidden)
}

func gardenValues() repo.GardenValues {
	return repo.GardenValues{
		Name: "Cinder Lane Beds", TimeZone: "America/New_York", LatitudeDeg: 40.8, LongitudeDeg: -74, ElevationM: 40, Units: "us", Language: "en",
		Fairness: "need",
	}
}

func TestCreateGarden_refusesUnknownZones(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, zone := range []string{"Local", "Mars/Olympus", "../../etc/passwd", "america"} {
		v := gardenValues()
		v.TimeZone = zone
		_, err := w.CreateGarden(t.Context(), w.operator, v, "Wren")
		wantField(t, err, "/time_zone")
	}
}

// A token of one garden sees nothing of another, whatever ids it names.
func TestGardens_doNotSeeEachOther(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	opened, err := w.CreateGarden(t.Context(), w.operator, gardenValues(), "Wren")
	if err != nil {
		t.Fatal(err)
	}
	stranger, err := w.Authenticate(t.Context(), opened.Secret)
	if err != nil {
		t.Fatal(err)
	}
	_, err = w.Plot(t.Context(), stranger, w.plot)
	wantKind(t, err, NotFound)
	_, err = w.CreateLayout(t.Context(), stranger, w.layoutValues(w.plot), tidy(t))
	wantField(t, err, "/plot_id")
	wantField(t, err, "/water_source_id")
	wantKind(t, w.DeletePlot(t.Context(), stranger, w.plot, 1), NotFound)
	_, err = w.CheckLayout(t.Context(), stranger, w.plot, FlowAsk{})
	wantKind(t, err, NotFound)
}

func TestAuthenticate_everyRefusalIsTheSame(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	_, good, err := w.CreateToken(ctx, w.coordinator, repo.TokenValues{Label: "phone", Role: "gardener", MemberID: w.gardener.Member})
	if err != nil {
		t.Fatal(err)
	}
	expires := w.now.Add(time.Hour)
	_, short, err := w.CreateToken(ctx, w.coordinator, repo.TokenValues{Label: "guest", Role: "integration", ExpiresAt: &expires})
	if err != nil {
		t.Fatal(err)
	}
	row, revoked, err := w.CreateToken(ctx, w.coordinator, repo.TokenValues{Label: "lost", Role: "integration"})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.DeleteToken(ctx, w.coordinator, row.ID, row.Revision); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{good, short} {
		if _, err := w.Authenticate(ctx, secret); err != nil {
			t.Errorf("%.8s: %v", secret, err)
		}
	}
	w.now = expires // the first moment at which it holds no more
	wrong, _ := newSecret(w.garden.String())
	nobody, _ := newSecret(uuid.Must(uuid.NewV7()).String())
	operator, _ := newSecret(operatorScope)
	_, refused := w.Authenticate(ctx, wrong)
	first := refusal(t, refused, Unauthenticated)
	for name, token := range map[string]string{
		"expired": short, "revoked": revoked, "no such garden": nobody, "no such operator": operator, "empty": "", "prefix alone": "rt_",
		"cut": good[:len(good)-4], "longer": good + "AAAA", "other case": strings.ToUpper(good), "not a garden": "rt_garden_" + wrong[len(wrong)-43:],
		"another garden in front": "rt_" + uuid.Must(uuid.NewV7()).String() + good[len("rt_")+36:], "another form of the garden": strings.Replace(good, w.garden.String(), "{"+w.garden.String()+"}", 1),
	} {
		_, err := w.Authenticate(ctx, token)
		if refused := refusal(t, err, Unauthenticated); refused.Detail != first.Detail || len(refused.Fields) > 0 || refused.Unwrap() != nil {
			t.Errorf("%s reads %q, a wrong secret %q", name, refused, first)
		}
	}
	p, err := w.Authenticate(ctx, good)
	if err != nil || p.Role != Gardener || p.Member == nil || *p.Member != *w.gardener.Member || p.Name != w.gardener.Name {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestCreateToken_noRoleAboveTheMembers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	past := w.now
	for name, c := range map[string]struct {
		v     repo.TokenValues
		field string
	}{
		"a gardener's token as coordinator": {repo.TokenValues{Label: "x", Role: "coordinator", MemberID: w.gardener.Member}, "/role"},
		"a gardener's token for nobody":     {repo.TokenValues{Label: "x", Role: "gardener"}, "/member_id"},
		"a member's integration":            {repo.TokenValues{Label: "x", Role: "integration", MemberID: w.gardener.Member}, "/member_id"},
		"a member of elsewhere":             {repo.TokenValues{Label: "x", Role: "gardener", MemberID: new(uuid.Must(uuid.NewV7()))}, "/member_id"},
		"an operator of a garden":           {repo.TokenValues{Label: "x", Role: "operator", MemberID: w.gardener.Member}, "/role"},
		"expires at once":                   {repo.TokenValues{Label: "x", Role: "integration", ExpiresAt: &past}, "/expires_at"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := w.CreateToken(t.Context(), w.coordinator, c.v)
			wantField(t, err, c.field)
		})
	}
	_, _, err := w.CreateToken(t.Context(), w.coordinator, repo.TokenValues{Label: "x", Role: "gardener", MemberID: w.coordinator.Member})
	wantKind(t, err, 0) // a coordinator may go about as a gardener
	_, _, err = w.CreateToken(t.Context(), w.gardener, repo.TokenValues{Label: "x", Role: "integration"})
	wantKind(t, err, Forbidden)
}

func TestNewOperatorToken_isOneOfTheInstallation(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	owner, err := pgx.Connect(t.Context(), repotest.OwnerURL(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = owner.Close(context.Background()) })
	secret, err := NewOperatorToken(t.Context(), owner, "the machine")
	if err != nil {
		t.Fatal(err)
	}
	p, err := w.Authenticate(t.Context(), secret)
	if err != nil || p.Role != Operator || p.Garden != uuid.Nil || p.Name != "the machine" {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := NewOperatorToken(t.Context(), w.pool, "by the service"); err == nil {
		t.Error("the service's own role made an operator")
	}
	if _, err := NewOperatorToken(t.Context(), owner, ""); err == nil || errors.Is(err, context.Canceled) {
		t.Errorf("a token without a label: %v", err)
	}
}
