//go:build unix

package pglaunch

import (
	"fmt"
	"os/exec"
	"syscall"
)

// guardScript runs the server and, when the standard input ends because this program did, shuts it down at once. It is
// the portable way to let no server outlive its starter; Linux has a shorter one.
const guardScript = `exec 3<&0
"$@" 3<&- </dev/null & server=$!
( cat <&3 >/dev/null; kill -QUIT "$server" 2>/dev/null ) & watcher=$!
wait "$server"; code=$?
kill "$watcher" 2>/dev/null
exit "$code"`

// guardByShell wraps cmd in the guard script.
func guardByShell(cmd *exec.Cmd) error {
	cmd.Args = append([]string{"/bin/sh", "-c", guardScript, "sh", cmd.Path}, cmd.Args[1:]...)
	cmd.Path = "/bin/sh"
	if _, err := cmd.StdinPipe(); err != nil { // its end is closed when cmd is waited for, or with this process
		return fmt.Errorf("guard the server: %w", err)
	}
	return nil
}

// attributes keep Ctrl-C away from the server (this program stops it in order) and drop root's rights.
func attributes(cred *syscall.Credential) *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Credential: cred}
}
