package main

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/service"
)

type tokenCmd struct {
	DatabaseURL string `env:"RILLTURN_OWNER_URL" required:"" help:"Address of the database for its owner."`
	Label       string `arg:"" help:"What the token is for, such as the name of the machine that will hold it."`
}

// Run makes a token of the operator of the installation, who may open gardens and sees no garden's data. Tokens of a
// garden are made over the API by its coordinator.
func (c tokenCmd) Run(ctx context.Context, std streams) error {
	conn, err := pgx.Connect(ctx, c.DatabaseURL)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	secret, err := service.NewOperatorToken(ctx, conn, c.Label)
	if err != nil {
		return fmt.Errorf("make an operator token: %w", err)
	}
	_, err = fmt.Fprintln(std.out, secret)
	return err
}
