//go:build unix

// Package pglaunch runs a private PostgreSQL from installed server programs: on a kept folder for one garden's machine,
// or thrown away for tests. The server is reached over a socket in a folder that is closed to other accounts, and over
// TCP only when asked. It never outlives the program that started it.
package pglaunch

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	// Owner is the superuser of a private server.
	Owner = "postgres"

	socketPort  = 5432 // names the socket's file; nothing listens on the port
	readyWithin = 60 * time.Second
	stopWithin  = 20 * time.Second
	quitWithin  = 5 * time.Second
)

// Options say which server to start.
type Options struct {
	Dir    string // where data is kept; made when missing. Empty: a temporary folder, nothing is kept, no disk is waited for
	Listen bool   // also on 127.0.0.1, on a free port, with a random password (see TCPURL)

	shellGuard bool // tests the guard of other systems on Linux
}

// Server is a running private server.
type Server struct {
	folder    *folder
	throwAway bool
	port      int
	password  string
	cmd       *exec.Cmd
	pid       int
	done      chan struct{}
}

// Start starts a server and returns when it answers.
func Start(ctx context.Context, o Options) (_ *Server, err error) {
	cred, err := account()
	if err != nil {
		return nil, err
	}
	f, err := openFolder(o.Dir, cred)
	if err != nil {
		return nil, err
	}
	s := &Server{folder: f, throwAway: o.Dir == "", port: socketPort, done: make(chan struct{})}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.close(s.throwAway))
		}
	}()
	in, err := s.prepare(ctx)
	if err != nil {
		return nil, err
	}
	if o.Listen {
		if s.port, err = freePort(ctx); err != nil {
			return nil, err
		}
	}
	if err := s.launch(in, o); err != nil {
		return nil, err
	}
	if err := errors.Join(s.waitReady(ctx), s.setPassword(ctx, o.Listen)); err != nil {
		return nil, errors.Join(err, s.end())
	}
	return s, nil
}

// prepare finds the programs that fit the folder, and makes the cluster if there is none.
func (s *Server) prepare(ctx context.Context) (Install, error) {
	major, err := s.folder.major()
	if err != nil {
		return Install{}, err
	}
	in, err := Find(major)
	if err != nil {
		return Install{}, err
	}
	if major == 0 {
		err = s.folder.initialise(ctx, in, s.throwAway)
	} else {
		err = s.folder.settle(ctx)
	}
	return in, errors.Join(err, s.folder.makeSocket())
}

// launch starts the server program. The thread that starts it is kept for as long as it runs: on Linux the server ends
// with the thread.
func (s *Server) launch(in Install, o Options) error {
	logFile, err := os.OpenFile(s.folder.log(), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("server log: %w", err)
	}
	args := []string{"-D", s.folder.data(), "-k", s.folder.sock, "-p", strconv.Itoa(s.port), "-c", "timezone=UTC"}
	if o.Listen {
		args = append(args, "-c", "listen_addresses=127.0.0.1")
	} else {
		args = append(args, "-c", "listen_addresses=")
	}
	if s.throwAway {
		args = append(args, "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off", "-c", "autovacuum=off")
	}
	//nolint:noctx // the server lives until Stop, not as long as the context that starts it
	s.cmd = exec.Command(filepath.Join(in.BinDir, "postgres"), args...)
	s.cmd.Dir, s.cmd.Env, s.cmd.SysProcAttr = "/", environment(), attributes(s.folder.cred)
	s.cmd.Stdout, s.cmd.Stderr = logFile, logFile
	hold := guard
	if o.shellGuard {
		hold = guardByShell
	}
	if err := hold(s.cmd); err != nil {
		return errors.Join(err, logFile.Close())
	}
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		defer close(s.done)
		err := s.cmd.Start()
		_ = logFile.Close() // the server has its own
		started <- err
		if err == nil {
			_ = s.cmd.Wait() // how a server ended is in its log
		}
	}()
	if err := <-started; err != nil {
		return fmt.Errorf("start postgres: %w", err)
	}
	return nil
}

// waitReady returns when the server answers, with the end of its log when it doesn't.
func (s *Server) waitReady(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, s.URL(Owner, "postgres"))
		if err == nil {
			s.pid = readPID(filepath.Join(s.folder.data(), "postmaster.pid"))
			return conn.Close(ctx)
		}
		select {
		case <-s.done:
			return fmt.Errorf("the server ended while it started: %s", s.lastWords())
		default:
		}
		if pause(ctx) != nil {
			return fmt.Errorf("the server doesn't answer: %w: %s", err, s.lastWords())
		}
	}
}

// lastWords is the end of the server's log.
func (s *Server) lastWords() string {
	text, err := os.ReadFile(s.folder.log())
	if err != nil {
		return err.Error()
	}
	const tail = 2000
	return strings.TrimSpace(string(text[max(0, len(text)-tail):]))
}

// setPassword lets the owner in over TCP with a password that only this program knows.
func (s *Server) setPassword(ctx context.Context, listen bool) error {
	if !listen || s.pid == 0 {
		return nil
	}
	raw := make([]byte, 24)
	_, _ = rand.Read(raw) // never fails: the program ends when the system has no randomness
	s.password = base64.RawURLEncoding.EncodeToString(raw)
	return s.asOwner(ctx, func(conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, `ALTER ROLE `+Owner+` PASSWORD '`+s.password+`'`) // letters, digits, - and _ only
		return err
	})
}

func (s *Server) asOwner(ctx context.Context, fn func(*pgx.Conn) error) error {
	conn, err := pgx.Connect(ctx, s.URL(Owner, "postgres"))
	if err != nil {
		return fmt.Errorf("connect to the private server: %w", err)
	}
	return errors.Join(fn(conn), conn.Close(ctx))
}

// freePort asks the system for a port that nobody listens on.
func freePort(ctx context.Context) (int, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, fmt.Errorf("find a free port: %w", err)
	}
	return l.Addr().(*net.TCPAddr).Port, l.Close()
}

// CreateDatabase makes a database unless it is there.
func (s *Server) CreateDatabase(ctx context.Context, name string) error {
	return s.asOwner(ctx, func(conn *pgx.Conn) error {
		var there bool
		if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&there); err != nil {
			return fmt.Errorf("look for database %s: %w", name, err)
		}
		if there {
			return nil
		}
		if _, err := conn.Exec(ctx, `CREATE DATABASE `+pgx.Identifier{name}.Sanitize()); err != nil {
			return fmt.Errorf("create database %s: %w", name, err)
		}
		return nil
	})
}

// URL is the address of a database for a role, over the socket.
func (s *Server) URL(role, database string) string {
	query := url.Values{"host": {s.folder.sock}, "port": {strconv.Itoa(s.port)}}
	u := url.URL{Scheme: "postgres", User: url.User(role), Path: "/" + database, RawQuery: query.Encode()}
	return u.String()
}

// TCPURL is the address of a database for the owner over TCP, password included; empty unless Listen was asked.
func (s *Server) TCPURL(database string) string {
	if s.password == "" {
		return ""
	}
	u := url.URL{
		Scheme: "postgres", User: url.UserPassword(Owner, s.password),
		Host: net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port)), Path: "/" + database,
	}
	return u.String()
}

// Dir is the folder that the server lives in.
func (s *Server) Dir() string { return s.folder.path }

// Done is closed when the server has ended, whoever ended it.
func (s *Server) Done() <-chan struct{} { return s.done }

// Stop ends the server in order: open transactions are rolled back, what is committed is kept.
func (s *Server) Stop() error { return errors.Join(s.end(), s.folder.close(s.throwAway)) }

// end asks the server to end, ever more firmly.
func (s *Server) end() error {
	for _, try := range []struct {
		signal syscall.Signal
		pid    int
		within time.Duration
	}{
		{syscall.SIGINT, s.pid, stopWithin},               // fast shutdown
		{syscall.SIGQUIT, s.pid, quitWithin},              // immediate: recovery at the next start
		{syscall.SIGKILL, -s.cmd.Process.Pid, quitWithin}, // the whole group
	} {
		select {
		case <-s.done:
			return nil
		default:
		}
		if try.pid == 0 { // it never got as far as writing its number
			continue
		}
		if err := syscall.Kill(try.pid, try.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("stop the server: %w", err)
		}
		select {
		case <-s.done:
			return nil
		case <-time.After(try.within):
		}
	}
	return errors.New("the server doesn't end")
}
