//go:build unix

package main

import (
	"bufio"
	"context"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// process is a program of its own, at the far end of a pseudo-terminal whose bench
// is simulated in this one: so the bench outlives it.
type process struct {
	*exec.Cmd
	out, err *os.File // what it writes is read from here
	said     tap      // what it has said on its error output
	page     string
}

// started starts a program and follows what it says.
func started(t *testing.T, c *exec.Cmd) *process {
	t.Helper()
	p := &process{Cmd: c}
	var theirOut, theirErr *os.File
	var err error
	p.out, theirOut, err = os.Pipe()
	require.NoError(t, err)
	p.err, theirErr, err = os.Pipe()
	require.NoError(t, err)
	c.Stdout, c.Stderr = theirOut, theirErr
	require.NoError(t, c.Start())
	require.NoError(t, theirOut.Close())
	require.NoError(t, theirErr.Close())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait(); _ = p.out.Close(); _ = p.err.Close() })
	go func() { _, _ = bufio.NewReader(p.err).WriteTo(&p.said) }()
	return p
}

// command is the real program with a command line.
func command(args ...string) *exec.Cmd {
	c := exec.Command(os.Args[0], args...)
	c.Env = append(os.Environ(), "AS_THE_PROGRAM=1")
	return c
}

// watching is the command serve over a bench, once it has read all of it.
func watching(t *testing.T, file, folder string) *process {
	t.Helper()
	p := started(t, command("serve", "--config", file, "--listen", "127.0.0.1:0", "--data", folder))
	line, err := bufio.NewReader(p.out).ReadString('\n')
	require.NoError(t, err, "%s", p.said.String())
	p.page = regexp.MustCompile(`http://\S+`).FindString(line)
	require.Eventually(t, func() bool { return status(p.page+"/readyz") == http.StatusOK }, soon, 20*time.Millisecond)
	return p
}

// patient is a simulated bench whose devices may take their time: both ends of the
// line wait for a processor that other tests use too.
func patient(t *testing.T) (*simbench.Bench, string) {
	t.Helper()
	bench, file := simulated(t)
	edit(t, file, "    line: bench\n", "    line: bench\n    timeout: 800 ms\n")
	return bench, file
}

// ends stops the program, and it has told its heaters zero.
func (p *process) ends(t *testing.T) {
	t.Helper()
	require.NoError(t, p.Process.Signal(syscall.SIGTERM))
	require.NoError(t, p.Wait(), "%s", p.said.String())
	require.Eventually(t, p.saysSo("heaters told zero, line closed"), time.Second, 5*time.Millisecond)
}

// heating is a daemon that heats the bench.
func heating(t *testing.T, bench *simbench.Bench, file, folder string) *process {
	t.Helper()
	c := exec.Command(os.Args[0], "-test.run=^TestTheHeatingProgram$", "-test.count=1")
	c.Env = append(os.Environ(), "HEAT="+file, "HEAT_DATA="+folder)
	p := started(t, c)
	require.Eventually(t, p.saysSo("line is open"), 10*time.Second, 10*time.Millisecond)
	p.press(t, bench)
	return p
}

// TestTheHeatingProgram is no test but the program that heating starts. The bench at
// the other end of its line is simulated too, so its heaters may be energised; here
// it only has a twin of it, to prove their time-out by.
func TestTheHeatingProgram(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	f := files{bench: os.Getenv("HEAT")}
	if f.bench == "" {
		return
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	bench, recipe, settings, err := f.load(nil)
	require.NoError(t, err)
	past, err := history.Open(os.Getenv("HEAT_DATA"))
	require.NoError(t, err)
	clk := clock.New(1)
	bus, err := devices.Open(daemon.Wiring(bench), daemon.OpenPort, clk)
	require.NoError(t, err)
	require.NoError(t, daemon.New(daemon.Options{
		Settings: settings, Bus: bus, Clock: clk, Log: slog.New(slog.NewTextHandler(os.Stderr, nil)), Version: "test",
		Title: recipe.Name, Run: bench.Name, Recipe: recipe.Name, RecipeVersion: recipe.Fingerprint(),
		Simulated: twin(t, bench, clk), History: past, Start: daemon.StartOf(bench, recipe, "test"),
	}).Run(ctx))
	require.NoError(t, past.Close())
}

// twin is a simulated bench like the one that a bench file describes.
func twin(t *testing.T, b *config.Bench, clk *clock.Clock) *simbench.Bench {
	t.Helper()
	c := simbench.Config{Seed: 1}
	for _, p := range b.Pots {
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, HeaterW: p.HeaterW, VolumeML: 200})
	}
	bench, err := simbench.New(c, clk)
	require.NoError(t, err)
	return bench
}

// press presses the button, as long and as far apart as a press has to be, until the
// bench is heated. A cycle that is late on a busy computer voids a press; a person presses
// again, and never in one beat with whatever is late.
func (p *process) press(t *testing.T, bench *simbench.Bench) {
	t.Helper()
	next := bench.Truth().At + 1500*time.Millisecond // it has to be seen open first
	apart := 2500 * time.Millisecond
	require.Eventually(t, func() bool {
		truth := bench.Truth()
		if truth.At > next {
			bench.PressEnable()
			next, apart = truth.At+apart, apart+170*time.Millisecond
		}
		return powerW(truth) > 0
	}, time.Minute, 10*time.Millisecond, "%s", &p.said)
}

// powerW is what all heaters of a bench draw, in watts.
func powerW(truth simbench.Truth) (sum float64) {
	for _, pot := range truth.Pots {
		sum += pot.PowerW
	}
	return sum
}

// heatJ is what all heaters of a bench have given, in joules.
func heatJ(truth simbench.Truth) (sum float64) {
	for _, pot := range truth.Pots {
		sum += pot.HeatJ
	}
	return sum
}

// off reports whether a bench's outputs are all zero.
func off(truth simbench.Truth) bool { return !truth.Contactor && powerW(truth) == 0 }

// offWithin waits until the outputs are zero and returns how long after a moment of
// bench time they were.
func offWithin(t *testing.T, bench *simbench.Bench, since, within time.Duration) time.Duration {
	t.Helper()
	var truth simbench.Truth
	require.Eventually(t, func() bool { truth = bench.Truth(); return off(truth) }, 5*time.Second, 2*time.Millisecond)
	require.Less(t, truth.At-since, within)
	return truth.At - since
}

// deviceTimeout is the simulated power module's own, and the time between two looks.
const deviceTimeout = 1500*time.Millisecond + 200*time.Millisecond

// TestSignalsEndTheProgramInOrder: an interrupt, the system's stopping and a terminal
// that is closed end it with its heaters told zero, and with success.
func TestSignalsEndTheProgramInOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	for _, s := range []os.Signal{syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP} {
		bench, file := patient(t)
		p := watching(t, file, t.TempDir())
		require.NoError(t, p.Process.Signal(s))
		require.NoError(t, p.Wait(), "%v: %s", s, p.said.String())
		require.Eventually(t, p.saysSo("heaters told zero, line closed"), time.Second, 5*time.Millisecond)
		truth := bench.Truth()
		require.True(t, off(truth))
		require.Zero(t, heatJ(truth))
	}
}

// saysSo tells whether the program has said something.
func (p *process) saysSo(words string) func() bool {
	return func() bool { return strings.Contains(p.said.String(), words) }
}

// TestAReaderThatGoesAwayEndsNothing: what the program prints goes nowhere any more
// (SIGPIPE), and the bench is watched all the same.
func TestAReaderThatGoesAwayEndsNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	bench, file := patient(t)
	p := watching(t, file, t.TempDir())
	require.NoError(t, p.out.Close())
	require.NoError(t, p.err.Close())
	for _, probe := range []simbench.Fault{simbench.OpenProbe, simbench.GroundedProbe} {
		require.NoError(t, bench.Inject(probe, simbench.Place{Probe: registers.Melt}))
		bench.PressEnable() // more to say
		at := bench.Truth().At
		passes(t, bench, at+time.Second)
	}
	require.Equal(t, http.StatusOK, status(p.page+"/healthz"), "cycles go on")
	require.NoError(t, p.Process.Signal(syscall.SIGTERM))
	require.NoError(t, p.Wait())
}

// passes waits for a moment of bench time.
func passes(t *testing.T, bench *simbench.Bench, until time.Duration) {
	t.Helper()
	require.Eventually(t, func() bool { return bench.Truth().At > until }, 10*time.Second, 10*time.Millisecond)
}

// TestStoppedProgramLeavesHeatOff: a program that heats and is halted can do nothing;
// the power module lets go by its own time-out. When it goes on, the cycle that was
// missed is a trip: nothing heats until a person presses, and then it does.
func TestStoppedProgramLeavesHeatOff(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	bench, file := patient(t)
	p := heating(t, bench, file, t.TempDir())
	require.NoError(t, p.Process.Signal(syscall.SIGSTOP))
	stopped := bench.Truth().At
	t.Logf("halted while heating: outputs zero after %.2f s", offWithin(t, bench, stopped, deviceTimeout).Seconds())
	passes(t, bench, stopped+3*time.Second)

	given := heatJ(bench.Truth())
	require.NoError(t, p.Process.Signal(syscall.SIGCONT))
	resumed := bench.Truth().At
	require.Eventually(t, p.saysSo("code=missed_cycle"), 5*time.Second, 5*time.Millisecond)
	passes(t, bench, resumed+2*time.Second)
	truth := bench.Truth()
	require.True(t, off(truth))
	require.InDelta(t, given, heatJ(truth), 0)

	p.press(t, bench)
	require.NoError(t, p.Process.Signal(syscall.SIGTERM))
	asked := bench.Truth().At
	took := offWithin(t, bench, asked, time.Second) // told, not timed out; before the end, which takes its time
	require.NoError(t, p.Wait(), "%s", p.said.String())
	t.Logf("ended while heating: outputs zero after %.2f s", took.Seconds())
}

// TestKilledProgramLeavesHeatOff: nothing is told to anybody; the power module lets
// go by its own time-out, and the run is known to be interrupted.
func TestKilledProgramLeavesHeatOff(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	bench, file := patient(t)
	folder := t.TempDir()
	p := heating(t, bench, file, folder)
	require.NoError(t, p.Process.Kill())
	killed := bench.Truth().At
	t.Logf("killed while heating: outputs zero after %.2f s", offWithin(t, bench, killed, deviceTimeout).Seconds())
	require.Error(t, p.Wait())
	require.Equal(t, history.Interrupted, newest(t, folder).State)
}

// TestTwoProgramsOnOnePort: the second hears which port is in use and what to do;
// the first goes on.
func TestTwoProgramsOnOnePort(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	_, file := patient(t)
	first := watching(t, file, t.TempDir())
	said, err := command("check", "--config", file).CombinedOutput()
	require.Error(t, err)
	require.Regexp(t, `serial port /dev/\S+ in use by another program: stop that one first`, string(said))

	second := started(t, command("serve", "--config", file, "--listen", "127.0.0.1:0", "--data", t.TempDir()))
	require.Eventually(t, second.saysSo("in use by another program: stop that one first"), 5*time.Second, 10*time.Millisecond)
	require.NoError(t, second.Process.Signal(syscall.SIGTERM))
	require.Error(t, second.Wait(), "it could tell no heater")
	require.Equal(t, http.StatusOK, status(first.page+"/readyz"))
	require.Equal(t, http.StatusOK, status(first.page+"/healthz"))
	require.NoError(t, first.Process.Signal(syscall.SIGTERM))
	require.NoError(t, first.Wait(), "%s", first.said.String())
}

// TestTwoProgramsOnOneFolder: the second is refused before it touches its line.
func TestTwoProgramsOnOneFolder(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	_, file := patient(t)
	folder := t.TempDir()
	first := watching(t, file, folder)
	_, other := patient(t)
	said, err := command("serve", "--config", other, "--listen", "127.0.0.1:0", "--data", folder).CombinedOutput()
	require.Error(t, err)
	require.Contains(t, string(said), "data folder "+folder+": another meltwarden records into it")
	require.Contains(t, string(said), "end that one, or choose another folder with --data")
	require.Equal(t, http.StatusOK, status(first.page+"/healthz"))
}
