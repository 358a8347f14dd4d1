package main

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"meltwarden/daemon/causes"
	"meltwarden/daemon/history"
)

func causesCommand() *cobra.Command {
	var q causes.Question
	var asJSON, fahrenheit bool
	c := &cobra.Command{
		Use: "causes", Short: "Tell what goes with a fault over all shots, beside chance", Args: cobra.NoArgs,
		Long: causes.Promise + "\n\n" +
			"Of invented makers with 20 to 60 shots, and a cause that took a fault from 30 to 54 in a hundred, 73 of 100 had the true one of four put first; for 12 of 100 it was named. Where there was none, 2 of 100 were told a figure, and 5 of those who looked after every evening.",
		RunE: func(c *cobra.Command, _ []string) error {
			return withHistory(c, func(s *history.Store) error {
				a, err := causes.Of(s, q)
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(a)
				}
				return a.WriteText(c.OutOrStdout(), causes.Unit(fahrenheit))
			})
		},
	}
	c.Flags().StringVar(&q.Fault, "fault", "", "only this fault, like bled")
	c.Flags().StringVar(&q.Recipe, "recipe", "", "only runs of this recipe, every version of it")
	c.Flags().StringVar(&q.Mould, "mould", "", "only shots into this mould, as it was typed")
	c.Flags().BoolVar(&fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object; temperatures are in degrees Celsius")
	dataFlag(c)
	return c
}
