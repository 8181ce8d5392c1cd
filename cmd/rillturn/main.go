// Rillturn shares a garden's spigots: it computes what comes out of every drilled hole, what each crop needs, and turns
// in which no watering group starves.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // gardens name IANA zones; the machine may have none

	"github.com/alecthomas/kong"

	"rillturn.example/rillturn/service/file"
)

// Exit codes of every command.
const (
	exitFault   = 1 // something failed that is not the input's fault
	exitRefused = 2 // the input is refused; the faults are printed with their paths
)

type cli struct {
	Demo    demoCmd    `cmd:"" help:"Run everything on two invented gardens: private database, plan, report, API."`
	Serve   serveCmd   `cmd:"" help:"Serve the API."`
	Migrate migrateCmd `cmd:"" help:"Bring a database to this version's schema."`
	Token   tokenCmd   `cmd:"" help:"Make an access token and print it once."`
	Doctor  doctorCmd  `cmd:"" help:"Check a database and a running server."`
	Flow    flowCmd    `cmd:"" help:"Compute what comes out of every hole of the layouts in a flow file (offline)."`
	Need    needCmd    `cmd:"" help:"Compute reference evapotranspiration, crop need and ledgers from a need file or a garden file (offline)."`
	Plan    planCmd    `cmd:"" help:"Plan zones and turns for a garden file or a rotation problem (offline)."`
	Sheet   sheetCmd   `cmd:"" help:"Work out parts, cuts, drill sheets and planting marks for the layouts in a sheet or garden file (offline)."`
	Version versionCmd `cmd:"" help:"Print the version."`
}

const description = `Rillturn divides the water of a community garden's spigots into turns so that no watering group starves, and says why where the water does not suffice.

The offline commands (flow, need, plan, sheet) read one JSON file, or standard input for "-", and print JSON on standard output, need --season a table; they use no database. An input that is refused is reported on standard error, one fault a line with the path of the field, and the exit code is 2.`

// streams are where a command reads and writes; tests give their own.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// exited carries the exit code that the argument parser asks for, for --help for instance.
type exited int

// run carries out one command line and returns its exit code.
func run(ctx context.Context, args []string, std streams) (code int) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case exited:
			code = int(r)
		default:
			panic(r)
		}
	}()
	var c cli
	parser, err := kong.New(&c, kong.Name("rillturn"), kong.Description(description), kong.Writers(std.out, std.err),
		kong.Exit(func(code int) { panic(exited(code)) }), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(std),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}))
	if err != nil {
		panic(err) // the command table itself is wrong
	}
	command, err := parser.Parse(args)
	if err != nil {
		parser.Errorf("%s (try rillturn --help)", err)
		return exitRefused
	}
	return report(command.Run(), std.err)
}

// report prints a command's error and turns it into an exit code.
func report(err error, out io.Writer) int {
	var faults file.Faults
	switch {
	case err == nil:
		return 0
	case errors.As(err, &faults):
		for _, f := range faults {
			at := f.Pointer
			if at == "" {
				at = "/"
			}
			fmt.Fprintf(out, "%s: %s\n", at, f.Reason)
		}
		return exitRefused
	default:
		fmt.Fprintln(out, "rillturn:", err)
		return exitFault
	}
}

// open returns the named file, or standard input for "-".
func (s streams) open(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(s.in), nil
	}
	return os.Open(name)
}
