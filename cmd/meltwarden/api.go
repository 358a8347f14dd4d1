package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"meltwarden/daemon/api"
	"meltwarden/daemon/lines"
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
			table := lines.Table{}
			for _, l := range api.Lines() {
				table.Row(l.Method, l.Path, l.Does)
			}
			_, err := fmt.Fprint(c.OutOrStdout(), table.String())
			return err
		},
	}
	c.Flags().BoolVar(&asOpenAPI, "openapi", false, "print the description in OpenAPI 3.1, as JSON")
	return c
}
