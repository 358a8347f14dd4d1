package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDashboardsAreWritten as they are embedded, and never over anything.
func TestDashboardsAreWritten(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "watching")
	out, err := run(t.Context(), "dashboards", "--out", folder)
	require.NoError(t, err)
	assert.Contains(t, unbroken(out), "begin with "+filepath.Join(folder, "README.md"))
	for _, name := range []string{"README.md", "prometheus/findings.rules.yaml", "prometheus/shop.yaml", "alertmanager/alertmanager.yaml", "grafana/bench.json"} {
		want, err := os.ReadFile(filepath.Join("../../dashboards", name))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got), name)
	}
	_, err = run(t.Context(), "dashboards", "--out", folder)
	assert.ErrorContains(t, err, "already: name a folder without it")

	said, err := run(t.Context(), "dashboards", "--json", "--out", filepath.Join(t.TempDir(), "more"))
	require.NoError(t, err)
	assert.Regexp(t, `^\{"begin":".*README.md","folder":".*more"\}\n$`, said)

	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err = run(t.Context(), "dashboards", "--out", filepath.Join(file, "below"))
	assert.ErrorContains(t, err, "--out "+filepath.Join(file, "below"))
	assert.ErrorContains(t, err, "name a folder that can be written to")
	_, err = run(t.Context(), "dashboards")
	assert.ErrorContains(t, err, "--out: missing; give the folder to write to")
}
