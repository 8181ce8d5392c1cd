package pglaunch

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
)

const clusterSettings = "/etc/postgresql-common/createcluster.d"

// CanInstall says whether InstallDebian would work here: as root on a system with apt-get.
func CanInstall() bool {
	_, err := exec.LookPath("apt-get")
	return err == nil && os.Geteuid() == 0
}

// InstallDebian installs the distribution's PostgreSQL server with apt-get and writes what happens to out. It asks the
// packaging not to start a server of its own: only the programs are wanted.
func InstallDebian(ctx context.Context, out io.Writer) error {
	if !CanInstall() {
		return missing(0, nil)
	}
	if err := os.MkdirAll(clusterSettings, 0o755); err != nil { //nolint:gosec // a folder of the system that all may read
		return fmt.Errorf("prepare installation: %w", err)
	}
	settings := filepath.Join(clusterSettings, "rillturn.conf")
	if err := os.WriteFile(settings, []byte("create_main_cluster = false\n"), 0o644); err != nil { //nolint:gosec // as above
		return fmt.Errorf("prepare installation: %w", err)
	}
	defer os.Remove(settings) //nolint:errcheck // a left-over only keeps later installations from starting a server
	for _, args := range [][]string{
		{"update", "-qq"},
		{"install", "-y", "-qq", "--no-install-recommends", "postgresql"},
	} {
		cmd := exec.CommandContext(ctx, "apt-get", args...)
		cmd.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		cmd.Stdout, cmd.Stderr = out, out
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("apt-get %s: %w", args[0], err)
		}
	}
	_, err := Find(0)
	return err
}
