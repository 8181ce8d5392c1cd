package pglaunch

import (
	"os/exec"
	"syscall"
)

// guard asks the kernel to shut the server down when the thread that starts it ends, so that thread must be kept.
func guard(cmd *exec.Cmd) error {
	cmd.SysProcAttr.Pdeathsig = syscall.SIGQUIT
	return nil
}
