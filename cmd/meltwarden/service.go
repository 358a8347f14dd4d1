package main

import (
	_ "embed" // the unit
	"io"

	"github.com/spf13/cobra"
)

//go:embed meltwarden.service
var unit string

func serviceCommand() *cobra.Command {
	return &cobra.Command{
		Use: "service", Short: "Print a systemd unit that keeps serve running", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			_, err := io.WriteString(c.OutOrStdout(), unit)
			return err
		},
	}
}
