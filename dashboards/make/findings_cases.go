package main

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"meltwarden/control/guard"
)

// caseFile is a file of tests of rules, as promtool reads it.
type caseFile struct {
	RuleFiles          []string `yaml:"rule_files"`
	EvaluationInterval string   `yaml:"evaluation_interval"`
	Tests              []story  `yaml:"tests"`
}

type story struct {
	Name     string      `yaml:"name"`
	Interval string      `yaml:"interval"`
	Series   []series    `yaml:"input_series"`
	Alerts   []alertCase `yaml:"alert_rule_test"`
	Exprs    []exprCase  `yaml:"promql_expr_test"`
}

type series struct {
	Series string `yaml:"series"`
	Values string `yaml:"values"`
}

type alertCase struct {
	EvalTime  string     `yaml:"eval_time"`
	AlertName string     `yaml:"alertname"`
	Alerts    []expected `yaml:"exp_alerts,omitempty"`
}

type expected struct {
	Labels      map[string]string `yaml:"exp_labels"`
	Annotations map[string]string `yaml:"exp_annotations"`
}

type exprCase struct {
	Expr     string   `yaml:"expr"`
	EvalTime string   `yaml:"eval_time"`
	Samples  []sample `yaml:"exp_samples,omitempty"`
}

type sample struct {
	Labels string  `yaml:"labels"`
	Value  float64 `yaml:"value"`
}

// What happens on the two benches, five seconds a step. North: nothing for 20 s, then
// everything is found; from 60 s on it is not heard; at 120 s it is back without them.
// South is heard all the while, and finds nothing that needs a person.
const (
	northLive     = "1x11 stale _x11 1x24"
	northFinding  = "_x3 1x8 stale"
	southLive     = "1x48"
	southFinding  = "0x48"
	beforeFinding = "10s"
	whileFound    = "30s"
	whileUnheard  = "110s"
	afterBack     = "200s"
)

// findingCases are a test of every alert of findingRules: it does not fire before its
// finding is there, nor where that is listed and needs nobody; it fires with it, goes on while the bench is not heard, and ends once the bench is heard without it.
func findingCases() ([]byte, error) {
	s := story{Name: "every finding", Interval: "5s", Series: []series{
		{`meltwarden_live{bench="north"}`, northLive}, {`meltwarden_live{bench="south"}`, southLive},
	}}
	s.Exprs = append(s.Exprs, exprCase{Expr: `meltwarden_live{bench="north"}`, EvalTime: whileUnheard})
	for _, c := range told() {
		s.add(c)
	}
	text, err := yaml.Marshal(caseFile{RuleFiles: []string{"findings.rules.yaml"}, EvaluationInterval: "5s", Tests: []story{s}})
	return append([]byte(madeHere), text...), err
}

// add puts a finding on the benches. One that latches has its cause on both, and on south
// it cut no heat.
func (s *story) add(c guard.Code) {
	see := func(metric, bench, values string) {
		s.Series = append(s.Series, series{fmt.Sprintf(`%s{bench="%s",code="%s",pot="left",severity="%s"}`, metric, bench, c, c.Rule().Severity), values})
	}
	see(metricOf(c), "north", northFinding)
	see(metricOf(c), "south", southFinding)
	if c.Rule().Clears == guard.AtTheBench {
		see("meltwarden_condition_active", "south", "1x48")
	}
	r := ruleOf(c)
	fires := expected{Labels: map[string]string{"bench": "north", "pot": "left"}, Annotations: map[string]string{}}
	for k, v := range r.Labels {
		fires.Labels[k] = v
	}
	for k, v := range r.Annotations {
		fires.Annotations[k] = strings.Replace(v, aboutBench, "north, pot left: ", 1)
	}
	s.Alerts = append(s.Alerts, alertCase{whileFound, r.Alert, []expected{fires}})
	fired := []sample{{fmt.Sprintf(`ALERTS{alertname="%s",alertstate="firing",bench="north",kind="finding",pot="left",priority="%s"}`, r.Alert, r.Labels["priority"]), 1}}
	asked := fmt.Sprintf(`ALERTS{alertname="%s"}`, r.Alert)
	s.Exprs = append(s.Exprs, exprCase{asked, beforeFinding, nil}, exprCase{asked, whileUnheard, fired}, exprCase{asked, afterBack, nil})
}
