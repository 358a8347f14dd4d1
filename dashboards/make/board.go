package main

//lint:file-ignore SA1019 the layout that follows this one is read by the newest servers only

import (
	"encoding/json"
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/text"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// Grey while all is normal. A colour only where a person is needed, and always with a
// word: blue asks for a hand, yellow for a look, red says that heat has been cut, green
// that the set is ready (IEC 60073). All but faint, which is for areas, can be told from
// light and from dark ground.
const (
	faint  = "#b4bac0"
	grey   = "#8b929c"
	strong = "#6b727b"
	attend = "#4f8fe8"
	look   = "#b97a00"
	danger = "#d6283b"
	shoot  = "#2f9e5f"
)

// cautionText heads every dashboard.
const cautionText = "**These pictures protect nobody.** They are seconds old, and can stand still. The guard, the independent cut-out and the " +
	"emergency stop act without them. Never leave a hot bench alone. Hot vinyl sticks and burns, and its fumes are acid: " +
	"if it smokes, cut the power at a distance, leave, and get help. Nothing is switched, reset or acknowledged from here; that is done at the bench. " +
	"Local codes and a licensed electrician have the last word."

// source is the metrics server that the reader has chosen.
var source = common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${source}")}

// degrees spells a temperature in the unit that the reader has chosen.
func degrees(expr string) string { return "(" + expr + ") ${degrees:raw}" }

// difference spells a difference of temperatures in that unit.
func difference(expr string) string {
	return "(" + degrees(expr) + ") - (" + degrees("0 * ("+expr+")") + ")"
}

// query asks for series over time.
func query(ref, legend, expr string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().RefId(ref).Expr(expr).LegendFormat(legend).Range().Datasource(source)
}

// instant asks for what is so now, as a table.
func instant(ref, expr string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().RefId(ref).Expr(expr).Instant().Format(prometheus.PromQueryFormatTable).Datasource(source)
}

// fixed is one colour for all.
func fixed(colour string) *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdFixed).FixedColor(colour)
}

// byLimits is a colour by what a value reaches.
func byLimits() *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds)
}

// limit is a value and the colour from there on.
type limit struct {
	from   float64
	colour string
}

// steps are grey below the first limit.
func steps(all ...limit) []dashboard.Threshold {
	s := []dashboard.Threshold{{Color: grey}}
	for _, l := range all {
		s = append(s, dashboard.Threshold{Value: cog.ToPtr(l.from), Color: l.colour})
	}
	return s
}

func limits(all ...limit) *dashboard.ThresholdsConfigBuilder {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(steps(all...))
}

// word is what a value is called, and its colour.
type word struct{ text, colour string }

// words name the values 0, 1, 2 and so on.
func words(all ...word) []dashboard.ValueMapping {
	m := dashboard.NewValueMap()
	for i, w := range all {
		m.Options[fmt.Sprint(i)] = dashboard.ValueMappingResult{Text: cog.ToPtr(w.text), Color: cog.ToPtr(w.colour), Index: cog.ToPtr(int32(i))}
	}
	return []dashboard.ValueMapping{{ValueMap: m}}
}

// shades are greys that can be told apart.
func shades() *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdShades).FixedColor(grey)
}

// lines is a panel of curves, in shades of grey unless one is told otherwise.
func lines(title, about, unit string) *timeseries.PanelBuilder {
	return timeseries.NewPanelBuilder().Title(title).Description(about).Unit(unit).Datasource(source).
		ColorScheme(shades()).LineWidth(2).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		// A gap in what was heard stays a gap.
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(false)}).
		Legend(common.NewVizLegendOptionsBuilder().DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom).ShowLegend(true)).
		Tooltip(tooltip())
}

func tooltip() *common.VizTooltipOptionsBuilder {
	return common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderNone)
}

// curve is how one of a panel looks, by its name.
type curve struct {
	name, colour string
	width        float64
	dashed       bool
	downTo       string // fills down to the curve of that name
}

// curves sets how some curves of a panel look.
func curves(p *timeseries.PanelBuilder, all ...curve) *timeseries.PanelBuilder {
	for _, c := range all {
		set := []dashboard.DynamicConfigValue{
			{Id: "color", Value: map[string]string{"mode": "fixed", "fixedColor": c.colour}},
			{Id: "custom.lineWidth", Value: c.width},
		}
		if c.dashed {
			set = append(set, dashboard.DynamicConfigValue{Id: "custom.lineStyle", Value: map[string]any{"fill": "dash", "dash": []int{6, 6}}})
		}
		if c.downTo != "" {
			set = append(set, dashboard.DynamicConfigValue{Id: "custom.fillBelowTo", Value: c.downTo},
				dashboard.DynamicConfigValue{Id: "custom.fillOpacity", Value: 22})
		}
		p.OverrideByRegexp("/^"+c.name+"( .*)?$/", set)
	}
	return p
}

// tile is one figure or word in large letters: what is so now, or that it is not known. It
// never shows what was so when the bench was last heard.
func tile(title, about, unit, expr string) *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(title).Description(about).Unit(unit).Datasource(source).NoValue("not known").
		WithTarget(prometheus.NewDataqueryBuilder().RefId("A").Expr(expr).LegendFormat(title).Instant().Datasource(source)).ColorScheme(byLimits()).Thresholds(limits()).
		GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeBackgroundSolid).TextMode(common.BigValueTextModeValue).
		Orientation(common.VizOrientationAuto).ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"last"}))
}

// sheet is a table of what is so now; columns are named in their order, those that are not
// named are left out.
func sheet(title, about string, columns ...column) *table.PanelBuilder {
	order, names := map[string]int{}, map[string]string{}
	for i, c := range columns {
		order[c.field], names[c.field] = i, c.title
	}
	hidden := map[string]bool{}
	for _, label := range []string{"Time", "__name__", "alertstate", "instance", "job", "kind", "shop", "Value"} {
		_, wanted := names[label]
		hidden[label] = !wanted
	}
	return table.NewPanelBuilder().Title(title).Description(about).Datasource(source).NoValue("").ColorScheme(fixed(grey)).
		WithTransformation(dashboard.DataTransformerConfig{Id: "merge", Options: map[string]any{}}).
		WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
			"excludeByName": hidden, "indexByName": order, "renameByName": names,
		}})
}

// column is a field of a query's answer and what it is called.
type column struct{ field, title string }

// cautioned is the panel with the caution, over the whole width.
func cautioned() *text.PanelBuilder {
	return text.NewPanelBuilder().Title("").Transparent(true).Mode(text.TextModeMarkdown).Content(cautionText).Span(24).Height(3)
}

// variables are those of every dashboard.
func variables(b *dashboard.DashboardBuilder) *dashboard.DashboardBuilder {
	return b.
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Metrics server").Type("prometheus")).
		WithVariable(dashboard.NewCustomVariableBuilder("degrees").Label("Degrees").
			Values(dashboard.StringOrMap{String: cog.ToPtr("°C : * 1, °F : * 1.8 + 32")}).
			Current(option("°C", "* 1", true)).
			Options([]dashboard.VariableOption{option("°C", "* 1", true), option("°F", "* 1.8 + 32", false)}))
}

func option(name, value string, selected bool) dashboard.VariableOption {
	return dashboard.VariableOption{
		Selected: &selected,
		Text:     dashboard.StringOrArrayOfString{String: &name}, Value: dashboard.StringOrArrayOfString{String: &value},
	}
}

// ofMetric is a variable that takes the values of a metric's label.
func ofMetric(name, label, ask string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source).
		Query(dashboard.StringOrMap{String: cog.ToPtr(ask)}).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortNaturalAsc)
}

// board is a dashboard without panels.
func board(uid, title, about string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).Uid(uid).Description(about).Tags([]string{"meltwarden"}).
		Time("now-2h", "now").Refresh("10s").Timezone("browser").Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(dashboard.NewDashboardLinkBuilder("Other dashboards of the benches").Type(dashboard.DashboardLinkTypeDashboards).
			Tags([]string{"meltwarden"}).KeepTime(true).IncludeVars(true))
}

// spelled is the dashboard as it is imported.
func spelled(b *dashboard.DashboardBuilder) ([]byte, error) {
	d, err := b.Build()
	if err != nil {
		return nil, err
	}
	body, err := json.MarshalIndent(d, "", "  ")
	return append(body, '\n'), err
}
