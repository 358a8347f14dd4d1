package config

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// Daemon is what the bench file, the environment and the flags say about the
// program itself. Nothing of it touches heat.
type Daemon struct {
	Listen string // host:port
	// Token lets programs on other computers in; "" lets none in. Phones have secrets of
	// their own, which are not kept here.
	Token string
	Data  string // the data folder, relative to where the program is started
	Log   slog.Level
	// Notify are the addresses of services that tell people who are not at the bench,
	// as the notification library writes them; there are secrets in them.
	Notify []string
	// KeepCycles is for how long every cycle of a run is kept; older ones are thinned. Zero
	// keeps them for ever.
	KeepCycles time.Duration
}

// EnvironmentPrefix begins the name of every variable that is meant for us.
const EnvironmentPrefix = "MELTWARDEN_"

// knob is a setting that may also be made outside the file. Its flag has the
// name of its key.
type knob struct {
	key, usage, fallback string
	kind                 strict.Kind[string]
}

var (
	listenKnob = knob{"listen", "address to serve on, host:port", DefaultListen, kind(parseListen, DefaultListen)}
	dataKnob   = knob{"data", "data folder", DefaultData, text(DefaultData)}
	logKnob    = knob{
		"log-level", "debug, info, warn or error", defaultLogLevel,
		oneOf("debug", "info", "warn", "error"),
	}
	knobs = []knob{listenKnob, dataKnob, logKnob}
)

func (k knob) variable() string {
	return EnvironmentPrefix + strings.ToUpper(strings.ReplaceAll(k.key, "-", "_"))
}

// Flags adds the flags that may change the daemon's own settings.
func Flags(f *pflag.FlagSet) {
	for _, k := range knobs {
		f.String(k.key, "", k.usage)
	}
}

// readDaemon reads the section, then lets environment and flags have their say,
// the flags last. Viper gets the file's values as typed and only merges: by
// itself it would take a folder named 0x10 for a number.
func readDaemon(m *strict.Map, src *strict.Source, flags *pflag.FlagSet) Daemon {
	var d Daemon
	var word string
	token := strict.Kind[string]{Parse: parseToken, Example: "a long random text", Secret: true}
	d.Token = strict.Optional(m, "token", token, "")
	d.Notify = strict.Values(m, "notify", strict.Kind[string]{Parse: parseAddress, Example: "generic+https://host/path", Secret: true})
	d.KeepCycles = readHistory(m.Map("history"))
	refuseOthers(src, os.Environ())
	merged := viper.New()
	for i, to := range []*string{&d.Listen, &d.Data, &word} {
		k := knobs[i]
		merged.SetDefault(k.key, strict.Optional(m, k.key, k.kind, k.fallback))
		*to = merge(merged, src, k, flags)
	}
	m.Done()
	if d.Log.UnmarshalText([]byte(word)) != nil {
		d.Log = slog.LevelInfo // the word has been complained about
	}
	return d
}

func readHistory(m *strict.Map) time.Duration {
	defer m.Done()
	return strict.Optional(m, "keep-cycles", Days(), 0)
}

// Days is an age from which on cycles may be thinned.
func Days() strict.Kind[time.Duration] {
	return within(kind(quantity.Days, "365 days"), minKeepCycles, maxKeepCycles, quantity.FormatDays)
}

// merge returns the last word on a setting: flag, environment, file or default.
func merge(merged *viper.Viper, src *strict.Source, k knob, flags *pflag.FlagSet) string {
	err := merged.BindEnv(k.key, k.variable())
	if f := lookup(flags, k.key); f != nil {
		err = errors.Join(err, merged.BindPFlag(k.key, f))
	}
	typed := merged.GetString(k.key)
	v, parseErr := k.kind.Parse(typed)
	if err = errors.Join(err, parseErr); err != nil {
		complain(src, k, flags, typed, err)
	}
	return v
}

func lookup(flags *pflag.FlagSet, key string) *pflag.Flag {
	if flags == nil {
		return nil
	}
	return flags.Lookup(key)
}

// complain names the place where a setting got its last word.
func complain(src *strict.Source, k knob, flags *pflag.FlagSet, typed string, err error) {
	p := inWordsOf(err, strict.Problem{Value: typed, Fix: "write it like " + k.kind.Example})
	flag := lookup(flags, k.key)
	switch {
	case flag != nil && flag.Changed:
		p.File, p.Key = "command line", "--"+k.key
	case os.Getenv(k.variable()) != "":
		p.File, p.Key = "environment", k.variable()
	default:
		src.Complain("daemon."+k.key, p.Wrong, p.Fix)
		return
	}
	src.Add(p)
}

// testAll makes the program's own tests fail where they would be skipped; it says
// nothing to the program.
const testAll = EnvironmentPrefix + "TEST_ALL"

// refuseOthers complains about variables that look as if they could set more
// than they may: nobody should believe that a limit was changed by one.
func refuseOthers(src *strict.Source, environment []string) {
	allowed := map[string]bool{testAll: true}
	for _, k := range knobs {
		allowed[k.variable()] = true
	}
	for _, entry := range environment {
		variable, _, _ := strings.Cut(entry, "=")
		if !strings.HasPrefix(strings.ToUpper(variable), EnvironmentPrefix) || allowed[variable] {
			continue
		}
		src.Add(strict.Problem{
			File: "environment", Key: variable, Wrong: "can not be set from the environment",
			Fix: fmt.Sprintf("unset it; only %s, %s and %s may be set so, all else stands in the bench file",
				listenKnob.variable(), dataKnob.variable(), logKnob.variable()),
		})
	}
}

func parseToken(typed string) (string, error) {
	if len(typed) < minTokenLength {
		return "", &quantity.Fault{
			Wrong: "too easy to guess",
			Fix:   fmt.Sprintf("write at least %d characters at random", minTokenLength),
		}
	}
	return typed, nil
}

func parseListen(typed string) (string, error) {
	_, port, err := net.SplitHostPort(typed)
	if err == nil {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil {
		return "", &quantity.Fault{Wrong: "not an address with a port", Fix: "write it like " + DefaultListen}
	}
	return typed, nil
}

// parseAddress takes anything that could be an address; the notification library
// knows the services.
func parseAddress(typed string) (string, error) {
	if scheme, rest, found := strings.Cut(typed, "://"); !found || scheme == "" || rest == "" || strings.ContainsAny(typed, " \t\n") {
		return "", &quantity.Fault{Wrong: "not an address", Fix: "write one like generic+https://host/path"}
	}
	return typed, nil
}
