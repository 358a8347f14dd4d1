package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is the program's version, by the module system; a build from a
// checkout says so.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

func versionCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "version", Short: "Say which program this is", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(map[string]string{
					"version": version(), "go": runtime.Version(), "os": runtime.GOOS, "arch": runtime.GOARCH,
				})
			}
			_, err := fmt.Fprintf(c.OutOrStdout(), "meltwarden %s, %s, %s/%s\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	return c
}
