package api

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/view"
)

// preference is what somebody may choose for the browser in front of him. It is kept in a
// cookie, so that a page that the server makes follows it without a script; the scripts
// write the same cookies.
type preference struct {
	name string // of the form's field; of the cookie after choicePrefix
	// values are what it can be; the first is what nobody has to choose.
	values []string
}

// choicePrefix stands before the name of every preference's cookie.
const choicePrefix = "meltwarden-"

// The preferences that the server heeds, and their values.
const (
	themeKey   = "theme"
	darkTheme  = "dark"
	lightTheme = "light"
	soundKey   = "sound"
	keysKey    = "keys"
)

var preferences = []preference{
	{unitKey, []string{inCelsius, inFahrenheit}},
	{themeKey, []string{"system", lightTheme, darkTheme}},
	{soundKey, []string{"off", "on"}},
	{keysKey, []string{"on", "off"}},
}

// chosen is what was chosen in the browser that asks; what is no value any more counts as
// the first one.
func (c *preference) chosen(r *http.Request) string {
	if kept, err := r.Cookie(choicePrefix + c.name); err == nil && slices.Contains(c.values, kept.Value) {
		return kept.Value
	}
	return c.values[0]
}

// chosen is the choice of a name.
func chosen(r *http.Request, name string) string {
	i := slices.IndexFunc(preferences, func(c preference) bool { return c.name == name })
	return preferences[i].chosen(r)
}

// darkOn is the media query under which what is dark is used, on screens as wide as size
// says. Paper is always light.
func darkOn(r *http.Request, size string) string {
	screen := "screen"
	if size != everySize {
		screen += " and " + size
	}
	switch chosen(r, themeKey) {
	case darkTheme:
		return screen
	case lightTheme:
		return "not all"
	}
	return screen + " and (prefers-color-scheme: dark)"
}

// settingsPage is what the template of the settings is filled with.
type settingsPage struct {
	head
	Choices []preferenceGroup
	Kept    bool
}

// preferenceGroup is a choice in words.
type preferenceGroup struct {
	view.ChoiceWords
	Name    string
	Options []preferenceOption
}

type preferenceOption struct {
	Value, Words string
	Chosen       bool
}

// settingsPage shows what is chosen in this browser.
func (s *server) settingsPage(w http.ResponseWriter, r *http.Request) {
	p := settingsPage{head: s.unitless(r, view.Texts().Settings, "/settings"), Kept: r.URL.Query().Has("kept")}
	for _, c := range preferences {
		group := preferenceGroup{ChoiceWords: view.Choice(c.name), Name: c.name}
		for i, v := range c.values {
			group.Options = append(group.Options, preferenceOption{v, group.Values[i], v == c.chosen(r)})
		}
		p.Choices = append(p.Choices, group)
	}
	show(w, http.StatusOK, "settings.html", p)
}

// settingsNow are the settings of a browser.
type settingsNow struct {
	Unit  string `json:"unit"`  // of temperatures: c or f
	Theme string `json:"theme"` // system is as the computer asks
	Sound string `json:"sound"` // on is from the first touch of the bench's page
	Keys  string `json:"keys"`  // whether single keys mark on the bench's page
}

// of is where a preference stands.
func (n *settingsNow) of(name string) *string {
	return map[string]*string{unitKey: &n.Unit, themeKey: &n.Theme, soundKey: &n.Sound, keysKey: &n.Keys}[name]
}

// yearS is how long a choice is kept, in seconds.
const yearS = 365 * 24 * 3600

// choose keeps what a form says is chosen. What it does not name stays.
func (s *server) choose(w http.ResponseWriter, r *http.Request) {
	var kept []*http.Cookie
	now := settingsNow{}
	for _, c := range preferences {
		v := r.PostFormValue(c.name)
		if v == "" {
			*now.of(c.name) = c.chosen(r)
			continue
		}
		if !slices.Contains(c.values, v) {
			refuseFor(w, wrongField, wrong(c.name, v, fmt.Sprintf("write one of %q", c.values)))
			return
		}
		*now.of(c.name) = v
		kept = append(kept, &http.Cookie{
			Name: choicePrefix + c.name, Value: v, Path: "/", MaxAge: yearS, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
		})
	}
	for _, c := range kept {
		http.SetCookie(w, c)
	}
	if wantsPage(r) {
		http.Redirect(w, r, address("/settings", url.Values{"kept": {"yes"}}), http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, now)
}

// settingsOperations describes what is chosen for a browser.
func settingsOperations() []describe.Operation {
	var form []describe.Field
	for _, c := range preferences {
		form = append(form, describe.Field{Name: c.name, Says: view.Choice(c.name).Head, Choices: c.values, Example: c.values[0]})
	}
	return []describe.Operation{
		aPage("/settings", "What is chosen in this browser", []describe.Field{{Name: "kept", Says: "says that it was kept"}}),
		{
			Route: "POST /api/v1/settings", Group: groupPages, Does: "Choose for the browser that asks, in cookies; what is left out stays",
			Form: form, Answers: answers(http.StatusOK, settingsNow{}, "It is kept"), Problems: []*describe.Kind{wrongField},
		},
	}
}
