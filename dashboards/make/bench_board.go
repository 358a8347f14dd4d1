package main

//lint:file-ignore SA1019 the layout that follows this one is read by the newest servers only

import (
	"fmt"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"

	"meltwarden/control"
)

// Selectors of what the reader has chosen.
const (
	chosenBench = `bench="$bench"`
	chosenPots  = `bench="$bench",pot=~"$pot"`
)

// benchBoard is one bench: what needs a person on top, then every pot against its own
// target, then what stands behind.
func benchBoard() ([]byte, error) {
	b := variables(board("meltwarden-bench", "One bench", "One bench of pots: what needs a person, every pot against its own target, and what stands behind.")).
		WithVariable(ofMetric("bench", "Bench", `label_values(meltwarden_live, bench)`)).
		WithVariable(ofMetric("pot", "Pots", `label_values(meltwarden_pot_state{bench="$bench"}, pot)`).
			Multi(true).IncludeAll(true).AllValue(".*").Current(option("All", "$__all", true)))
	for _, a := range marks() {
		b.Annotation(a)
	}
	b.WithPanel(cautioned())
	benchNow(b)
	b.WithPanel(meltPanel().Repeat("pot").RepeatDirection(dashboard.PanelRepeatDirectionH).MaxPerRow(3).Span(24).Height(10))
	b.WithPanel(statesPanel().Span(24).Height(6))
	b.WithPanel(platePanel().Span(8).Height(8)).WithPanel(dutyPanel().Span(8).Height(8)).WithPanel(circuitPanel().Span(8).Height(8))
	b.WithPanel(alertSheet(chosenBench).Span(12).Height(7)).WithPanel(findingSheet().Span(12).Height(7))
	b.WithPanel(linePanel().Span(8).Height(7)).WithPanel(cyclePanel().Span(8).Height(7)).WithPanel(dosePanel().Span(8).Height(7))
	b.WithPanel(lostPanel().Span(6).Height(7)).WithPanel(lossesPanel().Span(4).Height(7)).WithPanel(tripPanel().Span(7).Height(7)).WithPanel(troublePanel().Span(7).Height(7))
	return spelled(b)
}

// marks are lines across every panel: when a run began, when a shot was pushed, when heat
// was cut. The moments are the bench's own, not those of a scrape.
func marks() []*dashboard.AnnotationQueryBuilder {
	return []*dashboard.AnnotationQueryBuilder{
		mark("Runs", strong, "a run begins", "{{recipe}}, {{run}}", `1000 * meltwarden_run_start_timestamp_seconds{`+chosenBench+`} * on (bench) group_left (run, recipe) meltwarden_run_info{`+chosenBench+`}`).UseValueForTime(true),
		mark("Shots", shoot, "a shot", "marked as pushed", `1000 * meltwarden_last_shot_timestamp_seconds{`+chosenBench+`}`).UseValueForTime(true),
		mark("Heat cut", danger, "heat was cut", "the bench's own page says why", `meltwarden_heat_state{`+chosenBench+`,state="tripped"} == 1`),
	}
}

func mark(name, colour, title, words, expr string) *dashboard.AnnotationQueryBuilder {
	return dashboard.NewAnnotationQueryBuilder().Name(name).Datasource(source).Enable(true).IconColor(colour).
		TitleFormat(title).TextFormat(words).Expr(expr).Step("5s")
}

// benchNow is the row of tiles: can it be shot, is heat on, who has to come.
func benchNow(b *dashboard.DashboardBuilder) {
	b.WithPanel(tile("Ready to pour", "Every pot cured, in its band and stirred.", "none", `max by (bench) (meltwarden_ready{`+chosenBench+`})`).
		Mappings(words(word{"not yet", grey}, word{"READY", shoot})).Span(4).Height(4))
	b.WithPanel(tile("Ready in", "An estimate, no timer. A hand that comes late makes it later.", "s", `max by (bench) (meltwarden_ready_in_seconds{`+chosenBench+`})`).Decimals(0).Span(4).Height(4))
	b.WithPanel(tile("Heat", "Heat is enabled at the bench and nowhere else.", "none", heatNow(chosenBench)).
		Mappings(words(heatWords...)).Span(4).Height(4))
	b.WithPanel(tile("Waits for a reset", "Trips: heat was cut, and somebody has to look before it is reset at the bench.", "none", `max by (bench) (meltwarden_conditions{`+chosenBench+`,severity="trip"})`).
		Thresholds(limits(limit{1, danger})).Span(4).Height(4))
	b.WithPanel(tile("To look at", "Warnings of the guard.", "none", `max by (bench) (meltwarden_conditions{`+chosenBench+`,severity="warning"})`).
		Thresholds(limits(limit{1, look})).Span(4).Height(4))
	b.WithPanel(tile("Last heard", "How long ago it was heard with its cycles going on. Beyond a few seconds nothing else here is so any more.", "s", `time() - max by (bench) (bench:meltwarden_last_seen:timestamp_seconds{`+chosenBench+`})`).
		Decimals(0).Thresholds(limits(limit{20, look})).Span(4).Height(4))
}

// heatNow is the state of heat as a number, with its words.
func heatNow(chosen string) string {
	return `max by (bench) (meltwarden_heat_state{` + chosen + `,state="heat enabled"}) + 2 * max by (bench) (meltwarden_heat_state{` + chosen + `,state="tripped"})`
}

var heatWords = []word{{"off", grey}, {"enabled", strong}, {"CUT", danger}}

// meltPanel is one pot: its melt in its own band. Only a cured melt outside its band, and
// one at its trip or on its way there, has a colour.
func meltPanel() *timeseries.PanelBuilder {
	p := lines("$pot: melt against its set-point (${degrees:text})", "The grey band is what counts as right. Dashed: what is estimated of a melt that has no probe. A gap is what nobody heard.", "suffix:°").
		Decimals(1).
		WithTarget(query("A", "band, upper edge", degrees(`meltwarden_setpoint_temperature_celsius{`+chosenPots+`} + meltwarden_band_celsius{`+chosenPots+`}`))).
		WithTarget(query("B", "band, lower edge", degrees(`meltwarden_setpoint_temperature_celsius{`+chosenPots+`} - meltwarden_band_celsius{`+chosenPots+`}`))).
		WithTarget(query("C", "where it is to get", degrees(`meltwarden_target_temperature_celsius{`+chosenPots+`}`))).
		WithTarget(query("D", "melt", degrees(`meltwarden_melt_temperature_celsius{`+chosenPots+`}`))).
		WithTarget(query("E", "estimated melt", degrees(`meltwarden_melt_estimate_celsius{`+chosenPots+`}`))).
		WithTarget(query("F", "outside its band", degrees(`meltwarden_melt_temperature_celsius{`+chosenPots+`} and on (bench, pot) abs(bench_pot:meltwarden_deviation:celsius{`+chosenPots+
			`}) > on (bench, pot) meltwarden_band_celsius{`+chosenPots+`} and on (bench, pot) meltwarden_pot_state{`+chosenPots+`,state=~"holding|ready"} == 1`))).
		WithTarget(query("H", "on its way over its trip", degrees(`meltwarden_melt_temperature_celsius{`+chosenPots+`} and on (bench, pot) meltwarden_overheating_predicted{`+chosenPots+`} == 1`))).
		WithTarget(query("G", "at its trip", degrees(`meltwarden_melt_temperature_celsius{`+chosenPots+`} >= meltwarden_melt_trip_celsius{`+chosenPots+`}`)))
	return curves(p,
		curve{name: "band, upper edge", colour: faint, downTo: "band, lower edge"}, curve{name: "band, lower edge", colour: faint},
		curve{name: "where it is to get", colour: grey, width: 1, dashed: true}, curve{name: "melt", colour: strong, width: 3},
		curve{name: "estimated melt", colour: strong, width: 2, dashed: true},
		curve{name: "outside its band", colour: look, width: 4}, curve{name: "on its way over its trip", colour: look, width: 5},
		curve{name: "at its trip", colour: danger, width: 5},
	)
}

// statesPanel is where every pot stood on its way to the pour, in words.
func statesPanel() *statetimeline.PanelBuilder {
	var sum []string
	var named []word
	for i, s := range control.PotStates() {
		sum = append(sum, fmt.Sprintf(`%d * max by (pot) (meltwarden_pot_state{%s,state="%s"})`, i, chosenPots, s))
		named = append(named, word{s.String(), stateColour[s]})
	}
	return statetimeline.NewPanelBuilder().Title("Where each pot stands").Datasource(source).
		Description("Grey on its way, green once it can be poured, blue while it waits for a hand, red where its heat was cut.").
		WithTarget(query("A", "{{pot}}", strings.Join(sum, "\n+ "))).
		ColorScheme(byLimits()).Thresholds(limits()).Mappings(words(named...)).
		ShowValue(common.VisibilityModeAlways).MergeValues(true).FillOpacity(70).RowHeight(.8).NeverSpanNulls().
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(false)).Tooltip(tooltip())
}

var stateColour = map[control.PotState]string{
	control.Off: faint, control.Heating: grey, control.Curing: strong, control.Cooling: grey, control.Holding: strong,
	control.Ready: shoot, control.Lifted: attend, control.Tripped: danger,
}

func platePanel() *timeseries.PanelBuilder {
	p := lines("Plates (${degrees:text})", "Each against the temperature at which its heat is cut.", "suffix:°").Decimals(0).
		WithTarget(query("A", "{{pot}}", degrees(`meltwarden_plate_temperature_celsius{`+chosenPots+`}`))).
		WithTarget(query("B", "estimated {{pot}}", degrees(`meltwarden_plate_estimate_celsius{`+chosenPots+`}`))).
		WithTarget(query("C", "at its trip {{pot}}", degrees(`meltwarden_plate_temperature_celsius{`+chosenPots+`} >= meltwarden_plate_trip_celsius{`+chosenPots+`}`))).
		WithTarget(query("D", "trip", degrees(`min by (bench) (meltwarden_plate_trip_celsius{`+chosenPots+`})`)))
	return curves(p, curve{name: "estimated", colour: grey, width: 2, dashed: true}, curve{name: "at its trip", colour: danger, width: 5},
		curve{name: "trip", colour: strong, width: 1, dashed: true})
}

func dutyPanel() *timeseries.PanelBuilder {
	return lines("What each heater was told to give", "As a part of its rated power; of a heater that is switched, in the mean.", "percentunit").Min(0).Max(1).
		WithTarget(query("A", "{{pot}}", `meltwarden_heater_duty_ratio{`+chosenPots+`}`))
}

func circuitPanel() *timeseries.PanelBuilder {
	p := lines("Load of the circuit", "All heaters together, against what the breaker carries at any instant and in the mean of a minute.", "watt").Min(0).
		WithTarget(query("A", "all heaters", `max by (bench) (meltwarden_power_watts{`+chosenBench+`})`)).
		WithTarget(query("B", "breaker", `max by (bench) (meltwarden_circuit_limit_watts{`+chosenBench+`})`)).
		WithTarget(query("C", "a minute's mean", `max by (bench) (meltwarden_circuit_continuous_watts{`+chosenBench+`})`)).
		WithTarget(query("D", "over the breaker", `max by (bench) (meltwarden_power_watts{`+chosenBench+`} > meltwarden_circuit_limit_watts{`+chosenBench+`})`))
	return curves(p, curve{name: "all heaters", colour: strong, width: 3}, curve{name: "breaker", colour: strong, width: 1, dashed: true},
		curve{name: "a minute's mean", colour: grey, width: 1, dashed: true}, curve{name: "over the breaker", colour: danger, width: 5})
}

// alertSheet lists what fires now.
func alertSheet(chosen string) *table.PanelBuilder {
	return sheet("Alerts that fire", "Those of a bench that is not heard stay. What to do stands in the message and on the bench's own page.",
		column{"priority", "Priority"}, column{"bench", "Bench"}, column{"pot", "Pot"}, column{"alertname", "Alert"}, column{"line", "Line"}, column{"device", "Device"}, column{"probe", "Probe"}).
		WithTarget(instant("A", `ALERTS{`+chosen+`,alertstate="firing",kind!="heartbeat"}`)).
		OverrideByName("Priority", cellColours(map[string]string{"high": danger, "medium": look, "low": grey}))
}

// findingSheet lists what the guard has found.
func findingSheet() *table.PanelBuilder {
	return sheet("What the guard has found", "Everything that is there, or waits for a reset at the bench; notes too.",
		column{"severity", "Severity"}, column{"pot", "Pot"}, column{"code", "Finding"}).
		WithTarget(instant("A", `meltwarden_condition_active{`+chosenBench+`} == 1 or meltwarden_condition_latched{`+chosenBench+`} == 1`)).
		OverrideByName("Severity", cellColours(map[string]string{"trip": danger, "warning": look, "note": grey}))
}

// cellColours colours the cells of a column by their words.
func cellColours(colours map[string]string) []dashboard.DynamicConfigValue {
	m := dashboard.NewValueMap()
	for text, colour := range colours {
		m.Options[text] = dashboard.ValueMappingResult{Color: &colour}
	}
	return []dashboard.DynamicConfigValue{{Id: "mappings", Value: []dashboard.ValueMapping{{ValueMap: m}}}, colouredCells()}
}

func colouredCells() dashboard.DynamicConfigValue {
	return dashboard.DynamicConfigValue{Id: "custom.cellOptions", Value: map[string]string{"type": "color-background", "mode": "basic"}}
}

func linePanel() *timeseries.PanelBuilder {
	p := lines("Exchanges on the serial line that fail", "Of each device, the part of the last minute's.", "percentunit").Min(0).
		WithTarget(query("A", "{{device}}", `bench_line_device:meltwarden_serial_failures:ratio_rate1m{`+chosenBench+`}`)).
		WithTarget(query("B", "more than one in ten {{device}}", `bench_line_device:meltwarden_serial_failures:ratio_rate1m{`+chosenBench+`} > 0.1`))
	return curves(p, curve{name: "more than one in ten", colour: look, width: 4})
}

// lostPanel is when each line was there.
func lostPanel() *statetimeline.PanelBuilder {
	return statetimeline.NewPanelBuilder().Title("Serial lines").Datasource(source).
		Description("Whether the port of each line is open. After a loss heat waits for a press at the bench. One that is over before the next look is not here: the alert LineLost fires for it, and it is counted beside this.").
		WithTarget(query("A", "{{line}}", `max by (line) (meltwarden_serial_line_connected{`+chosenBench+`})`)).
		ColorScheme(byLimits()).Thresholds(limits()).Mappings(words(word{"LOST", look}, word{"connected", grey})).
		ShowValue(common.VisibilityModeAlways).MergeValues(true).FillOpacity(70).RowHeight(.8).NeverSpanNulls().
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(false)).Tooltip(tooltip())
}

// lossesPanel counts those losses too that are over between two looks.
func lossesPanel() *stat.PanelBuilder {
	return tile("How often a line was lost", "Of each serial line, in the time that is shown, also where it was over before the next look. Where it is often, look for a loose plug.", "none",
		`round(sum by (line) (increase(meltwarden_serial_line_losses_total{`+chosenBench+`}[$__range])))`).
		DisplayName("${__field.labels.line}").TextMode(common.BigValueTextModeValueAndName).Decimals(0).Thresholds(limits(limit{1, look}))
}

func tripPanel() *timeseries.PanelBuilder {
	return lines("How long devices take to answer", "Of each device, the time in which 99 of 100 exchanges were done, from the first byte of the request to the last of the reply.", "s").Min(0).
		WithTarget(query("A", "{{device}}", `histogram_quantile(0.99, sum by (device, le) (rate(meltwarden_serial_round_trip_seconds_bucket{`+chosenBench+`}[2m])))`))
}

func troublePanel() *timeseries.PanelBuilder {
	return lines("What is wrong with exchanges", "Each kind of trouble of each device, a minute.", "none").Min(0).
		WithTarget(query("A", "{{device}}: {{kind}}", `sum by (device, kind) (rate(meltwarden_serial_troubles_total{`+chosenBench+`}[2m])) * 60 > 0`))
}

func cyclePanel() *timeseries.PanelBuilder {
	p := lines("How long control cycles take", "The time in which 99 of 100 were done, the middle one, and what part began late. A cycle is due every 0.2 s.", "s").Min(0).
		WithTarget(query("A", "99 of 100", `histogram_quantile(0.99, sum by (bench, le) (rate(meltwarden_cycle_duration_seconds_bucket{`+chosenBench+`}[2m])))`)).
		WithTarget(query("B", "middle", `histogram_quantile(0.5, sum by (bench, le) (rate(meltwarden_cycle_duration_seconds_bucket{`+chosenBench+`}[2m])))`)).
		WithTarget(query("C", "late", `bench:meltwarden_cycles_late:ratio_rate2m{`+chosenBench+`}`)).
		OverrideByName("late", []dashboard.DynamicConfigValue{{Id: "unit", Value: "percentunit"}, {Id: "custom.axisPlacement", Value: "right"}})
	return curves(p, curve{name: "99 of 100", colour: strong, width: 2}, curve{name: "late", colour: grey, width: 1, dashed: true})
}

func dosePanel() *timeseries.PanelBuilder {
	return lines("Heat that each melt has had", "Of this run only, as time at 177 °C that would have aged it as much: an estimate. It orders your own batches and foretells nothing.", "s").Min(0).
		WithTarget(query("A", "{{pot}}", `meltwarden_melt_dose_seconds{`+chosenPots+`}`))
}
