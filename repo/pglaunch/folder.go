//go:build unix

package pglaunch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// ErrRunning says that a server already runs on the folder.
var ErrRunning = errors.New("a server already runs on this folder")

const (
	// maxSocketPath leaves room in the 104 (macOS) or 108 (Linux) bytes of a socket's address for "/.s.PGSQL.65535".
	maxSocketPath = 85
	// settling is how long a server whose starter was killed may take to end.
	settling = 8 * time.Second
	poll     = 10 * time.Millisecond
	tempName = "rillturn-pg-"
)

// folder is where one server lives:
//
//	lock      held by the program that runs the server
//	data      the cluster; it is made under another name and renamed, so it is whole or not there
//	socket    reachable by the server's account and root alone
//	log       what the server said since it was started
type folder struct {
	path string
	cred *syscall.Credential // of the server's account; nil for our own
	lock *os.File
	sock string
}

func (f *folder) data() string { return filepath.Join(f.path, "data") }
func (f *folder) log() string  { return filepath.Join(f.path, "log") }

// account returns whom the server runs as: postgres refuses root.
func account() (*syscall.Credential, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, uidErr := strconv.ParseUint(u.Uid, 10, 32)
		gid, gidErr := strconv.ParseUint(u.Gid, 10, 32)
		if err := errors.Join(uidErr, gidErr); err != nil {
			return nil, fmt.Errorf("account %s: %w", name, err)
		}
		return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
	}
	return nil, errors.New("PostgreSQL doesn't run as root, and there is neither an account postgres nor nobody to run it as")
}

// openFolder makes or takes the folder and its lock. An empty path makes a temporary one.
func openFolder(path string, cred *syscall.Credential) (*folder, error) {
	var err error
	if path == "" {
		sweep()
		if path, err = os.MkdirTemp("", tempName); err == nil {
			err = os.Chmod(path, 0o711) //nolint:gosec // the server's account goes through it; what is inside is closed
		}
	} else if path, err = filepath.Abs(path); err == nil {
		err = os.MkdirAll(path, 0o755) //nolint:gosec // as above
	}
	if err != nil {
		return nil, fmt.Errorf("database folder: %w", err)
	}
	f := &folder{path: path, cred: cred}
	if err := f.reachable(); err != nil {
		return nil, err
	}
	if f.lock, err = os.OpenFile(filepath.Join(path, "lock"), os.O_CREATE|os.O_RDWR, 0o600); err != nil {
		return nil, fmt.Errorf("database folder: %w", err)
	}
	if err := syscall.Flock(int(f.lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.lock.Close()
		return nil, fmt.Errorf("%w: %s is in use by another rillturn; stop that one, or choose another folder", ErrRunning, path)
	}
	return f, nil
}

// reachable says which folder on the way bars the server's account.
func (f *folder) reachable() error {
	if f.cred == nil {
		return nil
	}
	for dir := f.path; ; dir = filepath.Dir(dir) {
		var st syscall.Stat_t
		if err := syscall.Stat(dir, &st); err != nil {
			return fmt.Errorf("database folder: %s: %w", dir, err)
		}
		shift := 0
		switch {
		case st.Uid == f.cred.Uid:
			shift = 6
		case st.Gid == f.cred.Gid:
			shift = 3
		}
		if st.Mode>>shift&1 == 0 {
			return fmt.Errorf("database folder %s: PostgreSQL runs as user id %d here, which may not enter %s; choose a folder such as /var/lib/rillturn",
				f.path, f.cred.Uid, dir)
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
	}
}

// give makes a folder that the server's account owns and nobody else enters.
func (f *folder) give(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("database folder: %w", err)
	}
	if f.cred != nil {
		if err := os.Chown(dir, int(f.cred.Uid), int(f.cred.Gid)); err != nil {
			return fmt.Errorf("database folder: %w", err)
		}
	}
	if err := os.Chmod(dir, 0o700); err != nil { //nolint:gosec // a folder, closed to others
		return fmt.Errorf("database folder: %w", err)
	}
	return nil
}

// makeSocket makes the socket's folder, elsewhere when the path is too long for a socket's address.
func (f *folder) makeSocket() error {
	f.sock = filepath.Join(f.path, "socket")
	if len(f.sock) > maxSocketPath {
		temp, err := os.MkdirTemp("/tmp", tempName)
		if err != nil {
			return fmt.Errorf("socket folder: %w", err)
		}
		f.sock = temp
	}
	return f.give(f.sock)
}

// major is the version that made the data folder, 0 when there is none yet. Half-made ones are removed.
func (f *folder) major() (int, error) {
	halves, _ := filepath.Glob(f.data() + ".new-*") // fails only on a malformed pattern
	for _, half := range halves {
		if err := os.RemoveAll(half); err != nil {
			return 0, fmt.Errorf("remove a half-made data folder: %w", err)
		}
	}
	text, err := os.ReadFile(filepath.Join(f.data(), "PG_VERSION"))
	if err == nil {
		n, err := strconv.Atoi(strings.TrimSpace(string(text)))
		if err != nil {
			return 0, fmt.Errorf("data folder %s: PG_VERSION: %w", f.data(), err)
		}
		return n, nil
	}
	if !errors.Is(err, os.ErrNotExist) {
		return 0, fmt.Errorf("data folder: %w", err)
	}
	if err := os.Remove(f.data()); err != nil && !errors.Is(err, os.ErrNotExist) { // an empty one is fine
		return 0, fmt.Errorf("%s is no data folder of PostgreSQL (no PG_VERSION) and not empty: move it away, or choose another folder: %w", f.data(), err)
	}
	return 0, nil
}

// initialise makes the cluster under another name and renames it when it is whole.
func (f *folder) initialise(ctx context.Context, in Install, throwAway bool) error {
	half, err := os.MkdirTemp(f.path, "data.new-")
	if err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	if err := f.give(half); err != nil {
		return err
	}
	args := []string{
		"-D", half, "-U", Owner, "--auth-local=trust", "--auth-host=scram-sha-256", "--encoding=UTF8", "--locale=C", "--no-instructions",
	}
	if throwAway {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(in.BinDir, "initdb"), args...)
	cmd.Dir, cmd.Env, cmd.SysProcAttr = "/", environment(), attributes(f.cred)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	if err := os.Rename(half, f.data()); err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	return syncFolder(f.path)
}

// syncFolder makes the new name of the data folder last.
func syncFolder(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// settle waits for a server whose starter was killed, and clears a postmaster.pid whose number now belongs to somebody
// else, which postgres itself would take for a server.
func (f *folder) settle(ctx context.Context) error {
	file := filepath.Join(f.data(), "postmaster.pid")
	for end := time.Now().Add(settling); ; {
		pid := readPID(file)
		if pid == 0 || syscall.Kill(pid, 0) != nil && !errors.Is(syscall.Kill(pid, 0), syscall.EPERM) {
			return nil // postgres clears the file of a dead server itself
		}
		if !isServer(pid, f.data()) {
			if err := os.Remove(file); err != nil {
				return fmt.Errorf("clear a stale postmaster.pid: %w", err)
			}
			return nil
		}
		if time.Now().After(end) {
			return fmt.Errorf("%w: process %d serves %s; stop it (kill -INT %d), or choose another folder", ErrRunning, pid, f.data(), pid)
		}
		if err := pause(ctx); err != nil {
			return err
		}
	}
}

func pause(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(poll):
		return nil
	}
}

// readPID is the first line of a postmaster.pid, 0 when there is none.
func readPID(file string) int {
	text, err := os.ReadFile(file)
	if err != nil {
		return 0
	}
	line, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(line))
	if err != nil || pid <= 1 {
		return 0
	}
	return pid
}

// isServer says whether a process is the server of a data folder. In doubt it is.
func isServer(pid int, data string) bool {
	program, running := processName(pid)
	if !running || program != "" && program != "postgres" && program != "postmaster" {
		return false
	}
	dir, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid))
	if err != nil {
		return true
	}
	real, err := filepath.EvalSymlinks(data)
	return err != nil || dir == real
}

// processName is a process's program, empty when the system doesn't say. One that has ended and waits to be fetched by
// its parent, as may last for ever in a container, is not running.
func processName(pid int) (name string, running bool) {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid)) // "4711 (postgres) S …"
	if err == nil {
		before, after, _ := strings.Cut(string(stat), ") ")
		_, name, _ = strings.Cut(before, " (")
		return name, !strings.HasPrefix(after, "Z") && !strings.HasPrefix(after, "X")
	}
	out, err := exec.CommandContext(context.Background(), "ps", "-o", "comm=", "-p", strconv.Itoa(pid)).Output()
	if err != nil {
		return "", true
	}
	return filepath.Base(strings.TrimSpace(string(out))), true
}

// close gives the lock back; a temporary folder goes away.
func (f *folder) close(throwAway bool) error {
	var errs []error
	if f.sock != "" {
		errs = append(errs, os.RemoveAll(f.sock))
	}
	if throwAway {
		errs = append(errs, os.RemoveAll(f.path))
	}
	return errors.Join(append(errs, f.lock.Close())...)
}

// sweep removes temporary folders whose program was killed. Young ones may not be locked yet.
func sweep() {
	old, _ := filepath.Glob(filepath.Join(os.TempDir(), tempName+"*")) // fails only on a malformed pattern
	for _, dir := range old {
		info, err := os.Stat(dir)
		if err != nil || time.Since(info.ModTime()) < time.Minute {
			continue
		}
		lock, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR, 0)
		if err != nil {
			continue
		}
		data := filepath.Join(dir, "data")
		pid := readPID(filepath.Join(data, "postmaster.pid"))
		served := pid != 0 && syscall.Kill(pid, 0) == nil && isServer(pid, data)
		if syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil && !served {
			_ = os.RemoveAll(dir) // another account's folder stays
		}
		_ = lock.Close()
	}
}

// environment is ours without the settings that would lead the server programs elsewhere.
func environment() []string {
	var env []string
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "PG") && !strings.HasPrefix(v, "LC_") && !strings.HasPrefix(v, "LANG") {
			env = append(env, v)
		}
	}
	return append(env, "LC_ALL=C")
}
