package config_test

import (
	"log/slog"
	"testing"
	"time"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

func flags(t *testing.T, arguments ...string) *pflag.FlagSet {
	f := pflag.NewFlagSet("test", pflag.ContinueOnError)
	config.Flags(f)
	require.NoError(t, f.Parse(arguments))
	return f
}

func TestFlagsGoBeforeEnvironmentBeforeFile(t *testing.T) {
	services := []string{"generic+https://invented.example/bench?key=invented", "generic+https://other.example/"}
	b, err := config.LoadBench(fixtures+"/bench-every-key.good.yaml", flags(t))
	require.NoError(t, err)
	assert.Equal(t, config.Daemon{Listen: "[::1]:9000", Token: "invented-token-0123", Data: "0x10", Log: slog.LevelDebug, Notify: services, KeepCycles: 365 * 24 * time.Hour}, b.Daemon)

	t.Setenv("MELTWARDEN_LISTEN", "127.0.0.1:1")
	t.Setenv("MELTWARDEN_DATA", "from-environment")
	t.Setenv("MELTWARDEN_LOG_LEVEL", "warn")
	b, err = config.LoadBench(fixtures+"/bench-every-key.good.yaml", flags(t, "--data", "from-flag"))
	require.NoError(t, err)
	assert.Equal(t, config.Daemon{Listen: "127.0.0.1:1", Token: "invented-token-0123", Data: "from-flag", Log: slog.LevelWarn, Notify: services, KeepCycles: 365 * 24 * time.Hour}, b.Daemon)
}

func TestDefaultsServeThisComputerOnly(t *testing.T) {
	b, err := config.LoadBench(fixtures+"/bench-small.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, config.Daemon{Listen: "127.0.0.1:8420", Data: "meltwarden-data", Log: slog.LevelInfo}, b.Daemon)
}

func TestTheEnvironmentCanNotTouchAnythingElse(t *testing.T) {
	const rest = `: can not be set from the environment; unset it; only MELTWARDEN_LISTEN, ` +
		`MELTWARDEN_DATA and MELTWARDEN_LOG_LEVEL may be set so, all else stands in the bench file`
	for _, variable := range []string{
		"MELTWARDEN_CEILING_MELT_TRIP", "MELTWARDEN_TOKEN", "MELTWARDEN_DAEMON_LISTEN", "meltwarden_listen", "MELTWARDEN_",
	} {
		t.Run(variable, func(t *testing.T) {
			t.Setenv(variable, "300 C")
			_, err := config.DemoBench(nil)
			require.EqualError(t, err, "environment: "+variable+rest)
		})
	}
}

func TestOutsideProblemsNameWhereTheyComeFrom(t *testing.T) {
	_, err := config.DemoBench(flags(t, "--listen", "0.0.0.0:80", "--log-level", "WARN"))
	require.EqualError(t, err, `command line: --log-level: "WARN": not known; did you mean "warn"?`)
	t.Setenv("MELTWARDEN_LISTEN", "8420")
	_, err = config.DemoBench(nil)
	require.EqualError(t, err, `environment: MELTWARDEN_LISTEN: "8420": not an address with a port; write it like 127.0.0.1:8420`)
}

func TestATokenIsNeverRepeated(t *testing.T) {
	for _, key := range []string{"token", "tokn", "Token"} {
		_, err := config.ParseBench("bench.yaml", []byte("daemon: {"+key+": hush-hush, token: hush-hush}"), nil)
		require.Error(t, err)
		assert.NotContains(t, err.Error(), "hush")
	}
}
