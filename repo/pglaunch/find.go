package pglaunch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// MinMajor is the oldest PostgreSQL that has what the schema uses: unique keys that count nulls as equal, and foreign
// keys that set one column to null.
const MinMajor = 15

// ErrMissing says that no usable server programs are installed. Its text says what to do.
var ErrMissing = errors.New("no PostgreSQL server programs found")

// Install is one set of server programs.
type Install struct {
	BinDir string
	Major  int
}

// Find looks for the server programs: in PG_BINDIR, on PATH, where distributions and Homebrew and Postgres.app put them
// (the newest first), and where pg_config points. A major version other than 0 asks for just that one, which a folder
// made by it needs.
func Find(major int) (Install, error) {
	var tooOld []string
	for _, dir := range candidates() {
		found, err := version(dir)
		switch {
		case err != nil, major != 0 && found != major:
		case found < MinMajor:
			tooOld = append(tooOld, fmt.Sprintf("%d in %s", found, dir))
		default:
			return Install{dir, found}, nil
		}
	}
	return Install{}, missing(major, tooOld)
}

func missing(major int, tooOld []string) error {
	want := fmt.Sprintf("PostgreSQL %d or newer", MinMajor)
	if major != 0 {
		want = fmt.Sprintf("PostgreSQL %d, which made this data folder", major)
	}
	how := "install it with the package manager of the system (Debian, Ubuntu: apt-get install postgresql; Fedora: dnf install " +
		"postgresql-server; Alpine: apk add postgresql; macOS: brew install postgresql), or set PG_BINDIR to the folder of initdb and postgres"
	if len(tooOld) > 0 {
		return fmt.Errorf("%w: need %s, have %s; %s", ErrMissing, want, strings.Join(tooOld, ", "), how)
	}
	return fmt.Errorf("%w: need %s; %s", ErrMissing, want, how)
}

// candidates lists folders that have both programs, the preferred first, each once.
func candidates() []string {
	dirs := []string{os.Getenv("PG_BINDIR")}
	if p, err := exec.LookPath("initdb"); err == nil {
		if p, err = filepath.EvalSymlinks(p); err == nil {
			dirs = append(dirs, filepath.Dir(p))
		}
	}
	for _, pattern := range []string{
		"/usr/lib/postgresql/*/bin",
		"/usr/pgsql-*/bin",
		"/usr/libexec/postgresql*",
		"/opt/homebrew/opt/postgresql*/bin",
		"/usr/local/opt/postgresql*/bin",
		"/Applications/Postgres.app/Contents/Versions/*/bin",
		"/usr/local/pgsql/bin",
	} {
		matches, _ := filepath.Glob(pattern) // fails only on a malformed pattern
		slices.SortFunc(matches, func(a, b string) int { return numberIn(b) - numberIn(a) })
		dirs = append(dirs, matches...)
	}
	// Debian keeps initdb off PATH but has pg_config on it when the development files are there.
	if out, err := exec.CommandContext(context.Background(), "pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	var usable []string
	for _, dir := range dirs {
		if dir != "" && !slices.Contains(usable, dir) && executable(filepath.Join(dir, "initdb")) && executable(filepath.Join(dir, "postgres")) {
			usable = append(usable, dir)
		}
	}
	return usable
}

func executable(path string) bool {
	info, err := os.Stat(path) //nolint:gosec // PG_BINDIR is set by who runs the program
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
}

var digits = regexp.MustCompile(`\d+`)

// numberIn is the first number in a path, 0 without one.
func numberIn(path string) int {
	n, _ := strconv.Atoi(digits.FindString(path))
	return n
}

// version asks the server program for its major version: "postgres (PostgreSQL) 15.18 (Debian …)".
func version(dir string) (int, error) {
	out, err := exec.CommandContext(context.Background(), filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return 0, fmt.Errorf("version of %s: %w", dir, err)
	}
	_, after, _ := strings.Cut(string(out), ")")
	if n := numberIn(after); n > 0 {
		return n, nil
	}
	return 0, fmt.Errorf("version of %s: %q has no number", dir, out)
}
