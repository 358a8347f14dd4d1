package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
)

// chosenBenches is every bench that the reader has chosen.
const chosenBenches = `bench=~"$bench"`

// noneWhileWatched is zero, but only where alerts are reckoned at all: MessagesArrive
// fires at all times.
const noneWhileWatched = `0 * count(ALERTS{alertname="MessagesArrive"})`

// shopBoard is all benches beside each other, a row each; a bench's name leads to its own
// dashboard.
func shopBoard() ([]byte, error) {
	b := variables(board("meltwarden-shop", "All benches", "All benches beside each other: which is ready, which needs somebody, which is not heard.")).
		WithVariable(ofMetric("bench", "Benches", `label_values(meltwarden_live, bench)`).Multi(true).IncludeAll(true).AllValue(".*").Current(option("All", "$__all", true)))
	b.WithPanel(cautioned())
	b.WithPanel(tile("Heat was cut", "Benches on which a trip waits for a reset.", "none", `sum(max by (bench) (meltwarden_heat_state{`+chosenBenches+`,state="tripped"}))`).
		Thresholds(limits(limit{1, danger})).Span(6).Height(4))
	b.WithPanel(tile("Hot and not heard", "Benches that were hot or heated when last heard. Go and look.", "none", `count(ALERTS{alertname="BenchSilentWhileHot",alertstate="firing",`+chosenBenches+`}) or `+noneWhileWatched).
		Thresholds(limits(limit{1, danger})).Span(6).Height(4))
	b.WithPanel(tile("To look at", "Alerts of medium priority.", "none", `count(ALERTS{alertstate="firing",priority="medium",`+chosenBenches+`}) or `+noneWhileWatched).
		Thresholds(limits(limit{1, look})).Span(6).Height(4))
	b.WithPanel(tile("Ready to pour", "Benches whose pots are all ready.", "none", `sum(max by (bench) (meltwarden_ready{`+chosenBenches+`}))`).
		Thresholds(limits(limit{1, shoot})).Span(6).Height(4))
	b.WithPanel(benchSheet().Span(24).Height(9))
	b.WithPanel(benchStates().Span(24).Height(8))
	b.WithPanel(alertSheet(chosenBenches).Span(24).Height(8))
	return spelled(b)
}

// benchState is how a bench stands as a number, the first that is so; its words are
// benchWords. One that is no longer heard is shown for a day.
const benchState = `5 * (max by (bench) (meltwarden_heat_state{` + chosenBenches + `,state="tripped"}) == 1)
or 4 * (max by (bench) (meltwarden_ready{` + chosenBenches + `}) == 1)
or 3 * (max by (bench) (meltwarden_heat_state{` + chosenBenches + `,state="heat enabled"}) == 1)
or 2 * (max by (bench) (meltwarden_hot{` + chosenBenches + `}) == 1)
or max by (bench) (meltwarden_live{` + chosenBenches + `}) == 1
or 0 * max by (bench) (last_over_time(meltwarden_live{` + chosenBenches + `}[1d]))`

var benchWords = []word{{"not heard", look}, {"cold", faint}, {"hot, heat off", grey}, {"heated", strong}, {"READY", shoot}, {"HEAT CUT", danger}}

// benchSheet is a row a bench.
func benchSheet() *table.PanelBuilder {
	counted := func(priority string) string {
		return `count by (bench) (ALERTS{alertstate="firing",priority="` + priority + `",` + chosenBenches + `}) or 0 * max by (bench) (last_over_time(meltwarden_live{` + chosenBenches + `}[1d])) and on () ALERTS{alertname="MessagesArrive"}`
	}
	coloured := func(l limit) []dashboard.DynamicConfigValue {
		return []dashboard.DynamicConfigValue{
			{Id: "thresholds", Value: dashboard.ThresholdsConfig{Mode: dashboard.ThresholdsModeAbsolute, Steps: steps(l)}},
			{Id: "color", Value: map[string]string{"mode": "thresholds"}}, colouredCells(),
		}
	}
	return sheet("Benches", "The worst deviation is that of a cured pot from its own set-point. Figures of a bench that is not heard are not known.",
		column{"bench", "Bench"}, column{"Value #A", "It is"}, column{"Value #B", "Last heard"}, column{"Value #C", "Ready in, estimated"},
		column{"Value #D", "Worst deviation"}, column{"Value #E", "High"}, column{"Value #F", "Medium"}, column{"Value #G", "Shots"}, column{"Value #H", "Load"}).
		WithTarget(instant("A", benchState)).
		WithTarget(instant("B", `time() - bench:meltwarden_last_seen:timestamp_seconds{`+chosenBenches+`}`)).
		WithTarget(instant("C", `max by (bench) (meltwarden_ready_in_seconds{`+chosenBenches+`})`)).
		WithTarget(instant("D", difference(`bench:meltwarden_deviation_celsius:worst{`+chosenBenches+`}`))).
		WithTarget(instant("E", counted("high"))).
		WithTarget(instant("F", counted("medium"))).
		WithTarget(instant("G", `max by (bench) (meltwarden_shots_total{`+chosenBenches+`})`)).
		WithTarget(instant("H", `bench:meltwarden_circuit_load:ratio{`+chosenBenches+`}`)).
		OverrideByName("Bench", []dashboard.DynamicConfigValue{{Id: "links", Value: []map[string]any{{
			"title": "this bench alone", "url": "/d/meltwarden-bench?var-bench=${__value.text}&${source:queryparam}&${degrees:queryparam}&${__url_time_range}",
		}}}}).
		OverrideByName("It is", []dashboard.DynamicConfigValue{{Id: "mappings", Value: words(benchWords...)}, colouredCells()}).
		OverrideByName("Last heard", append(coloured(limit{20, look}), unit("s"), decimals(0))).
		OverrideByName("Ready in, estimated", []dashboard.DynamicConfigValue{unit("s"), decimals(0)}).
		OverrideByName("Worst deviation", []dashboard.DynamicConfigValue{unit("suffix:°"), decimals(1)}).
		OverrideByName("High", coloured(limit{1, danger})).
		OverrideByName("Medium", coloured(limit{1, look})).
		OverrideByName("Load", []dashboard.DynamicConfigValue{unit("percentunit"), decimals(0)})
}

func unit(u string) dashboard.DynamicConfigValue {
	return dashboard.DynamicConfigValue{Id: "unit", Value: u}
}

func decimals(n int) dashboard.DynamicConfigValue {
	return dashboard.DynamicConfigValue{Id: "decimals", Value: n}
}

// benchStates is how the evening went on every bench.
func benchStates() *statetimeline.PanelBuilder {
	return statetimeline.NewPanelBuilder().Title("How the benches stood").Datasource(source).
		Description("Grey is normal. Green can be poured, yellow is not heard, red had its heat cut.").
		WithTarget(query("A", "{{bench}}", benchState)).
		ColorScheme(byLimits()).Thresholds(limits()).Mappings(words(benchWords...)).
		ShowValue(common.VisibilityModeAlways).MergeValues(true).FillOpacity(70).RowHeight(.8).NeverSpanNulls().
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(false)).Tooltip(tooltip())
}
