//go:build unix

package pglaunch

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
)

// helperVariable makes this test binary start a server on the folder it names, say where, and wait to be killed.
const helperVariable = "PGLAUNCH_TEST_HELPER"

func TestMain(m *testing.M) {
	if args := os.Getenv(helperVariable); args != "" {
		helper(args)
	}
	code := m.Run()
	if wholeDir != "" {
		_ = os.RemoveAll(wholeDir)
	}
	os.Exit(code)
}

func helper(dir string) {
	s, err := Start(context.Background(), Options{Dir: dir, shellGuard: os.Getenv(helperVariable+"_SHELL") != ""})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println(s.pid, os.Geteuid(), s.URL(Owner, "postgres"))
	select {}
}

// openDir is a new folder that every account may enter, which those of t.TempDir aren't.
func openDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "pglaunch-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	return dir
}

// whole makes a folder in which a server was started and stopped. Making one takes a second, copying it much less.
var (
	wholeDir string
	whole    = sync.OnceValue(func() (err error) {
		if wholeDir, err = os.MkdirTemp("", "pglaunch-test-"); err != nil {
			return err
		}
		if err := os.Chmod(wholeDir, 0o755); err != nil {
			return err
		}
		s, err := Start(context.Background(), Options{Dir: wholeDir})
		if err != nil {
			return err
		}
		return s.Stop()
	})
)

// keptDir is a folder as a stopped server leaves it.
func keptDir(t *testing.T) string {
	t.Helper()
	if err := whole(); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(openDir(t), "pg")
	if out, err := exec.Command("cp", "-a", wholeDir, to).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return to
}

func start(t *testing.T, o Options) *Server {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		select {
		case <-s.Done(): // the test has stopped it
		default:
			if err := s.Stop(); err != nil {
				t.Error(err)
			}
		}
	})
	return s
}

// ask runs a statement that gives one text.
func ask(t *testing.T, url, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // the answer is there
	var text string
	if err := conn.QueryRow(t.Context(), sql).Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

func command(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // it is done
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

func TestStart_throwAwayLeavesNothing(t *testing.T) {
	t.Parallel()
	s := start(t, Options{})
	if got := ask(t, s.URL(Owner, "postgres"), `SELECT current_setting('fsync')`); got != "off" {
		t.Errorf("fsync is %s, want off: nothing is kept", got)
	}
	if got := ask(t, s.URL(Owner, "postgres"), `SELECT current_setting('listen_addresses')`); got != "" {
		t.Errorf("listens on %q, want on no address", got)
	}
	if s.TCPURL("postgres") != "" {
		t.Error("has an address over TCP that nobody asked for")
	}
	info, err := os.Stat(s.folder.sock)
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the socket's folder has mode %v, %v; want 0700", info.Mode(), err)
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(s.Dir()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder is still there: %v", err)
	}
}

func TestStart_keepsItsFolder(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(openDir(t), "deep", "er")
	s := start(t, Options{Dir: dir})
	if got := ask(t, s.URL(Owner, "postgres"), `SELECT current_setting('fsync')`); got != "on" {
		t.Errorf("fsync is %s, want on: what is acknowledged is kept", got)
	}
	for range 2 { // the second time it is there
		if err := s.CreateDatabase(t.Context(), "garden"); err != nil {
			t.Fatal(err)
		}
	}
	command(t, s.URL(Owner, "garden"), `CREATE TABLE kept AS SELECT 1 AS n`)
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}

	half := filepath.Join(dir, "data.new-123") // as a start leaves it that is killed while it makes the cluster
	if err := os.MkdirAll(filepath.Join(half, "base"), 0o700); err != nil {
		t.Fatal(err)
	}
	again := start(t, Options{Dir: dir})
	if got := ask(t, again.URL(Owner, "garden"), `SELECT count(*)::text FROM kept`); got != "1" {
		t.Errorf("%s rows were kept, want 1", got)
	}
	if _, err := os.Stat(half); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the half-made folder is still there: %v", err)
	}
	_, err := Start(t.Context(), Options{Dir: dir})
	if !errors.Is(err, ErrRunning) || !strings.Contains(err.Error(), dir) {
		t.Errorf("a second server on the folder: %v, want ErrRunning with the folder's name", err)
	}
}

func TestStart_listensWithPassword(t *testing.T) {
	t.Parallel()
	s := start(t, Options{Listen: true})
	address := s.TCPURL("postgres")
	u, err := url.Parse(address)
	if err != nil || u.Hostname() != "127.0.0.1" {
		t.Fatalf("address %q, %v; want one on 127.0.0.1", address, err)
	}
	if got := ask(t, address, `SELECT current_setting('listen_addresses')`); got != "127.0.0.1" {
		t.Errorf("listens on %q, want on 127.0.0.1 alone", got)
	}
	if got := ask(t, address, `SELECT left(rolpassword, 13) FROM pg_authid WHERE rolname = current_user`); got != "SCRAM-SHA-256" {
		t.Errorf("password is kept as %s, want SCRAM-SHA-256", got)
	}
	u.User = url.UserPassword(Owner, "guess")
	if conn, err := pgx.Connect(t.Context(), u.String()); err == nil {
		t.Error("a guessed password was let in")
		_ = conn.Close(context.Background())
	}
	u.User = url.User(Owner)
	if conn, err := pgx.Connect(t.Context(), u.String()); err == nil {
		t.Error("no password was let in")
		_ = conn.Close(context.Background())
	}
}

// startHelper runs another program that starts a server, as another account when cred is given.
func startHelper(t *testing.T, dir string, shell bool, cred *syscall.Credential) (cmd *exec.Cmd, pid int, uid string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if cred != nil {
		self = copied(t, self, dir)
	}
	cmd = exec.Command(self)
	cmd.Env = append(os.Environ(), helperVariable+"="+dir)
	if shell {
		cmd.Env = append(cmd.Env, helperVariable+"_SHELL=1")
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: cred}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may be gone
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	words := strings.Fields(line)
	if pid, err = strconv.Atoi(words[0]); err != nil {
		t.Fatalf("the other program says: %s", line)
	}
	return cmd, pid, words[1]
}

// copied is the test binary where every account can run it.
func copied(t *testing.T, program, dir string) string {
	t.Helper()
	text, err := os.ReadFile(program)
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(filepath.Dir(dir), "program")
	if err := os.WriteFile(to, text, 0o755); err != nil {
		t.Fatal(err)
	}
	return to
}

// The server ends with the program that started it, even one that has no chance to stop it; the folder is found whole by
// the next.
func TestStart_endsWithItsKilledStarter(t *testing.T) {
	t.Parallel()
	for name, shell := range map[string]bool{"guard of this system": false, "guard by shell": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := keptDir(t)
			cmd, pid, _ := startHelper(t, dir, shell, nil)
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			_ = cmd.Wait()                   // says that it was killed
			s := start(t, Options{Dir: dir}) // waits for the old server to end
			if syscall.Kill(pid, 0) == nil && isServer(pid, s.folder.data()) && pid != s.pid {
				t.Errorf("server %d outlived its starter", pid)
			}
			if got := ask(t, s.URL(Owner, "postgres"), `SELECT 'here'`); got != "here" {
				t.Errorf("the next server says %q", got)
			}
		})
	}
}

// As root the server runs as another account; as any other account it runs as that one.
func TestStart_neverAsRoot(t *testing.T) {
	t.Parallel()
	s := start(t, Options{})
	owner := func(pid int) uint32 {
		var st syscall.Stat_t
		if err := syscall.Stat(fmt.Sprintf("/proc/%d", pid), &st); err != nil {
			t.Fatal(err)
		}
		return st.Uid
	}
	if os.Geteuid() != 0 {
		if got := owner(s.pid); int(got) != os.Geteuid() {
			t.Errorf("the server runs as %d, want as ourselves, %d", got, os.Geteuid())
		}
		return
	}
	if got := owner(s.pid); got == 0 {
		t.Error("the server runs as root")
	}
	const nobody = 65534
	dir := filepath.Join(openDir(t), "pg")
	_, pid, uid := startHelper(t, dir, false, &syscall.Credential{Uid: nobody, Gid: nobody})
	if got := owner(pid); got != nobody || uid != strconv.Itoa(nobody) {
		t.Errorf("started by account %s the server runs as %d, want as %d", uid, got, nobody)
	}
}

func TestStart_namesTheFolderThatBarsTheWay(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		f := folder{path: "/", cred: nil}
		if err := f.reachable(); err != nil {
			t.Errorf("our own account is barred: %v", err)
		}
		return
	}
	closed := t.TempDir() // 0700, of root
	_, err := Start(t.Context(), Options{Dir: filepath.Join(closed, "pg")})
	if err == nil || !strings.Contains(err.Error(), "may not enter") {
		t.Errorf("got %v, want the folder that bars the server's account", err)
	}
}

// A number in postmaster.pid may belong to somebody else by now, after a reboot for instance. Postgres would take that
// process for a server and refuse to start.
func TestStart_mendsStalePID(t *testing.T) {
	t.Parallel()
	dir := keptDir(t)
	cred, err := account()
	if err != nil {
		t.Fatal(err)
	}
	sleeper := exec.Command("sleep", "60")
	sleeper.SysProcAttr = &syscall.SysProcAttr{Credential: cred}
	if err := sleeper.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		_ = sleeper.Process.Kill()
		_ = sleeper.Wait()
	}()
	data := filepath.Join(dir, "data")
	text := fmt.Sprintf("%d\n%s\n1\n5432\n\n\n", sleeper.Process.Pid, data)
	if err := os.WriteFile(filepath.Join(data, "postmaster.pid"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	again := start(t, Options{Dir: dir})
	if got := ask(t, again.URL(Owner, "postgres"), `SELECT 'here'`); got != "here" {
		t.Errorf("the server says %q", got)
	}
}

func TestStart_leavesForeignDataAlone(t *testing.T) {
	t.Parallel()
	dir := openDir(t)
	photo := filepath.Join(dir, "data", "photo.jpg")
	if err := os.MkdirAll(filepath.Dir(photo), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(photo, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "no data folder of PostgreSQL") {
		t.Errorf("got %v, want that the folder is not ours", err)
	}
	if _, err := os.Stat(photo); err != nil {
		t.Errorf("somebody's file is gone: %v", err)
	}
}

func TestStart_saysWhatAServerSaidLast(t *testing.T) {
	t.Parallel()
	dir := keptDir(t)
	settings, err := os.OpenFile(filepath.Join(dir, "data", "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := settings.WriteString("no_such_setting = 1\n"); err != nil {
		t.Fatal(err)
	}
	if err := settings.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "no_such_setting") {
		t.Errorf("got %v, want the server's own words", err)
	}
}

func TestFind_namesWhatIsMissing(t *testing.T) {
	t.Parallel()
	_, err := Find(99)
	if !errors.Is(err, ErrMissing) || !strings.Contains(err.Error(), "PostgreSQL 99") {
		t.Errorf("got %v, want ErrMissing with the version", err)
	}
}

func TestFind_prefersPGBINDIR(t *testing.T) {
	in, err := Find(0)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, text := range map[string]string{
		"initdb": "#!/bin/sh\n", "postgres": "#!/bin/sh\necho 'postgres (PostgreSQL) " + strconv.Itoa(in.Major) + ".1 (Somewhere 9)'\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PG_BINDIR", dir)
	if got, err := Find(in.Major); err != nil || got != (Install{dir, in.Major}) {
		t.Errorf("got %v, %v; want the programs of PG_BINDIR", got, err)
	}
}

func TestStart_endsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if s, err := Start(ctx, Options{}); err == nil {
		t.Error("started although nobody waits for it")
		_ = s.Stop()
	}
}
