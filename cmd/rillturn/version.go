package main

import (
	"fmt"
	"runtime/debug"

	"rillturn.example/rillturn/service"
)

type versionCmd struct{}

// Run prints the engine's version, which rotations store, and the build it came from.
func (versionCmd) Run(std streams) error {
	build := "unknown build"
	if info, ok := debug.ReadBuildInfo(); ok {
		build = info.GoVersion
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				build += ", commit " + s.Value
			}
		}
	}
	_, err := fmt.Fprintf(std.out, "rillturn %s (%s)\n", service.EngineVersion, build)
	return err
}
