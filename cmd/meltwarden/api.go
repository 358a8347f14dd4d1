package main

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"meltwarden/daemon/api"
)

func apiCommand() *cobra.Command {
	var asOpenAPI bool
	c := &cobra.Command{
		Use: "api", Short: "Say what a program can ask of a bench over HTTP",
		Long: "Lists what can be asked over HTTP. The page /api of a bench explains each of them.\nNo address enables heat.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if asOpenAPI {
				_, err := c.OutOrStdout().Write(api.OpenAPI())
				return err
			}
			table := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
			for _, l := range api.Lines() {
				fmt.Fprintf(table, "%s\t%s\t%s\n", l.Method, l.Path, l.Does)
			}
			return table.Flush()
		},
	}
	c.Flags().BoolVar(&asOpenAPI, "openapi", false, "print the description in OpenAPI 3.1, as JSON")
	return c
}
