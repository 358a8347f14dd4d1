package main

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"meltwarden/control/guard"
)

// ruleFile is a file of rules, as the metrics server reads it.
type ruleFile struct {
	Groups []ruleGroup `yaml:"groups"`
}

type ruleGroup struct {
	Name  string `yaml:"name"`
	Rules []rule `yaml:"rules"`
}

type rule struct {
	Alert         string            `yaml:"alert"`
	Expr          string            `yaml:"expr"`
	KeepFiringFor string            `yaml:"keep_firing_for,omitempty"`
	Labels        map[string]string `yaml:"labels"`
	Annotations   map[string]string `yaml:"annotations"`
}

// caution stands in every alert.
const caution = "This message protects nobody: the cut-out and the emergency stop act without it and without the program. It can come late or be lost."

// told are the findings that need a person, in the order of the guard's table. A note asks
// for nothing, so it calls nobody.
func told() (codes []guard.Code) {
	for c := guard.Code(1); c.Rule().Name != "unknown"; c++ {
		if c.Rule().Severity > guard.Note {
			codes = append(codes, c)
		}
	}
	return codes
}

// alertName spells the name of a finding as alerts are spelled: melt_high is MeltHigh.
func alertName(c guard.Code) string {
	name := ""
	for word := range strings.SplitSeq(c.String(), "_") {
		name += strings.ToUpper(word[:1]) + word[1:]
	}
	return name
}

// priority is what ISA-18.2 calls how soon a person is needed.
func priority(s guard.Severity) string {
	if s == guard.Trip {
		return "high"
	}
	return "medium"
}

// aboutBench heads what is said of an alert. A finding of the whole bench has no pot.
const aboutBench = "{{ $labels.bench }}{{ with $labels.pot }}, pot {{ . }}{{ end }}: "

// metricOf is the metric that says that a finding needs a person. What latches does so
// once heat was cut by it: an emergency stop that is left open on a cold bench overnight
// calls nobody.
func metricOf(c guard.Code) string {
	if c.Rule().Clears == guard.AtTheBench {
		return "meltwarden_condition_latched"
	}
	return "meltwarden_condition_active"
}

// ruleOf is the alert of a finding. It goes on while the bench is not heard: only a bench
// that is live and no longer lists the finding has got over it.
func ruleOf(c guard.Code) rule {
	r := rule{
		Alert: alertName(c),
		Expr: fmt.Sprintf(`max by (bench, pot) (%s{code="%s"}) == 1
or
max by (bench, pot) (ALERTS{alertname="%s"}) unless on (bench) meltwarden_live == 1
`, metricOf(c), c, alertName(c)),
		Labels: map[string]string{"priority": priority(c.Rule().Severity), "kind": "finding"},
		Annotations: map[string]string{
			"summary":     aboutBench + c.Title(),
			"cause":       "May be: " + c.Rule().Cause,
			"instruction": c.Instruction(),
			"caution":     caution,
		},
	}
	if c.Rule().Severity < guard.Trip {
		r.KeepFiringFor = "15s" // as long as one who comes and goes would be a nuisance
	}
	return r
}

const madeHere = "# Made by `go generate ./dashboards` from the guard's table: change that, not this.\n"

// findingRules has an alert for each finding that needs a person, in the guard's words.
func findingRules() ([]byte, error) {
	g := ruleGroup{Name: "meltwarden findings"}
	for _, c := range told() {
		g.Rules = append(g.Rules, ruleOf(c))
	}
	text, err := yaml.Marshal(ruleFile{Groups: []ruleGroup{g}})
	return append([]byte(madeHere), text...), err
}
