package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

// invite prints the address, one fresh token per role, and six requests that work when pasted.
func (d *demo) invite(ctx context.Context, svc *service.Service, db *database, base string, toReport repo.ScheduledTurn) error {
	p := d.loaded[0]
	coordinator, gardener, err := d.people(ctx, svc, p, toReport)
	if err != nil {
		return err
	}
	planting, err := d.shownPlanting(ctx, svc, p)
	if err != nil {
		return err
	}
	tokens := []struct {
		role  string
		value repo.TokenValues
	}{
		{"coordinator", repo.TokenValues{Label: "demo", Role: "coordinator", MemberID: &coordinator.ID}},
		{"gardener", repo.TokenValues{Label: "demo", Role: "gardener", MemberID: &gardener.ID}},
		{"integration", repo.TokenValues{Label: "demo integration", Role: "integration"}},
	}
	secrets := map[string]string{}
	for _, t := range tokens {
		_, secret, err := svc.CreateToken(ctx, p, t.value)
		if err != nil {
			return err
		}
		secrets[t.role] = secret
	}
	if secrets["operator"], err = operatorToken(ctx, db); err != nil {
		return err
	}
	url := base + "/gardens/" + p.Garden.String()
	say := func(format string, args ...any) { fmt.Fprintf(d.std.out, format+"\n", args...) }
	say("The API answers at %s (its contract: %s/openapi.json).", base, strings.TrimSuffix(base, "/v1"))
	say("The clock of the demo stands at %s and runs on.", d.clock.now().Format("2006-01-02 15:04 MST"))
	say("\nTokens, made now and shown once:")
	say("  coordinator (%s): %s", coordinator.Name, secrets["coordinator"])
	say("  gardener (%s): %s", gardener.Name, secrets["gardener"])
	say("  integration: %s", secrets["integration"])
	say("  operator: %s", secrets["operator"])
	say("\nSix requests to paste:")
	const curl = "  curl -s -H 'Authorization: Bearer %s' '%s%s'"
	say(curl, secrets["coordinator"], url, "/plots?limit=3")
	say(curl, secrets["coordinator"], url, "/rotations/current")
	say(curl, secrets["integration"], url, "/schedule.ics")
	say(curl, secrets["gardener"], url, "/plantings/"+planting.ID.String()+"/ledger")
	say(curl, secrets["gardener"], url, "/turns?limit=2")
	say("  curl -s -H 'Authorization: Bearer %s' -H 'Content-Type: application/json' -d '{\"outcome\":\"done\"}' '%s/turns/%s/reports'",
		secrets["gardener"], url, toReport.ID)
	say("\nCtrl-C stops.")
	return nil
}

// people finds a coordinator, and a gardener whose plot a turn waters.
func (d *demo) people(ctx context.Context, svc *service.Service, p service.Principal, toReport repo.ScheduledTurn) (coordinator, gardener repo.Member, err error) {
	members, _, err := svc.Members(ctx, p, service.Page{Limit: 200})
	if err != nil {
		return coordinator, gardener, err
	}
	byID := map[string]repo.Member{}
	for _, m := range members {
		byID[m.ID.String()] = m
		if m.Role == "coordinator" {
			coordinator = m
		}
	}
	for _, m := range toReport.Members {
		holders, _, err := svc.Holders(ctx, p, m.PlotID, service.Page{Limit: 1})
		if err != nil {
			return coordinator, gardener, err
		}
		for _, h := range holders {
			gardener = byID[h.MemberID.String()]
		}
	}
	if gardener.Name == "" {
		return coordinator, gardener, errors.New("nobody holds a plot of the turn")
	}
	return coordinator, gardener, nil
}

func operatorToken(ctx context.Context, db *database) (string, error) {
	conn, err := pgx.Connect(ctx, db.owner)
	if err != nil {
		return "", err
	}
	defer func() { _ = conn.Close(ctx) }()
	return service.NewOperatorToken(ctx, conn, "demo")
}
