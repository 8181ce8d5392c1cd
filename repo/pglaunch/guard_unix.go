//go:build unix && !linux

package pglaunch

import "os/exec"

func guard(cmd *exec.Cmd) error { return guardByShell(cmd) }
