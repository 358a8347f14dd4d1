// Command meltwarden holds pots of liquid vinyl at their injection temperatures
// and calls out when all of them are ready to pour.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"
)

const caution = `Meltwarden works beside hardware interlocks and never replaces them: liquid
vinyl at 170 °C, its fumes, mains heat and closed moulds can hurt. An
independent cut-out with its own sensor, a fuse, an earth and an emergency stop
that breaks the contactor belong on every bench. Local codes and a licensed
electrician have the last word.`

func main() {
	// Whatever ends the program, a terminal that is closed too, ends it in order; and
	// a reader who is gone must not end what holds the pots.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	signal.Ignore(syscall.SIGPIPE)
	code, said := exit(root().ExecuteContext(ctx))
	stop()
	if said != "" {
		fmt.Fprintln(os.Stderr, complaint(said, isTerminal(os.Stderr)))
	}
	if code != 0 {
		os.Exit(code)
	}
}

// complaint is an error as it is written: on a terminal in lines that it has room for, and
// elsewhere as it is, for whoever looks for words in it.
func complaint(said string, terminal bool) string {
	said = "meltwarden: " + said
	if !terminal {
		return said
	}
	return folded(said)
}

func root() *cobra.Command {
	c := &cobra.Command{
		Use:           "meltwarden",
		Short:         "Holds pots of liquid vinyl and calls out when all are ready to pour",
		Long:          "Holds pots of liquid vinyl at their injection temperatures over a serial line and\ncalls out when all of them are ready to pour.\n\n" + caution,
		SilenceUsage:  true,
		SilenceErrors: true,

		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true},
	}
	c.AddCommand(demoCommand(), serveCommand(), checkCommand(), scanCommand(), commissionCommand(), calibrateCommand(),
		runsCommand(), findCommand(), reviewCommand(), causesCommand(), verdictCommand(), tryCommand(), attemptsCommand(), recipesCommand(), promoteCommand(),
		whyCommand(), reportCommand(), estimateCommand(),
		batchesCommand(), replayCommand(), exportCommand(), backupCommand(), serviceCommand(), versionCommand())
	c.AddCommand(completionCommand(), watchCommand(), planCommand(), checksCommand(), photoCommand(), importCommand(), tidyCommand(), schemaCommand(), dashboardsCommand(), phoneCommand(), apiCommand(), examplesCommand(), registersCommand(), portsCommand())
	c.AddCommand(firstHeatCommand())
	plainly(c)
	helpfully(c)
	complete(c)
	return c
}
