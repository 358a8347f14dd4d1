package watch

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/console"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// TestWhichShotIsJudged: the last that was not taken back, and none before one that was marked
// here just now and is not written down yet.
func TestWhichShotIsJudged(t *testing.T) {
	at := func(s int) time.Time { return time.Date(2026, 3, 1, 19, 30, s, 0, time.UTC) }
	all := []pushed{{Number: 1, Wall: at(10)}, {Number: 2, Wall: at(20)}, {Number: 3, Wall: at(30), Withdrawn: true}}
	assert.Equal(t, 1, lastSince(time.Time{})(all))
	assert.Equal(t, -1, lastSince(at(25))(all))
	assert.Equal(t, -1, lastSince(time.Time{})(nil))
	assert.Equal(t, 0, firstSince(time.Time{})(all))
	assert.Equal(t, 1, firstSince(at(10))(all), "what was there already is no shot since")
	assert.Equal(t, -1, firstSince(at(25))(all))
}

// TestVerdictsByTheirFirstLetters, as far as those are of one only.
func TestVerdictsByTheirFirstLetters(t *testing.T) {
	for typed, want := range map[string]string{"b": "", "bl": "bled", "BU": "bubbles", "clean": "clean", "low": "low contrast", "flake": "flake sunk"} {
		is, err := verdictNamed(typed)
		assert.Equal(t, want, is, typed)
		assert.Equal(t, want == "", err != nil, typed)
	}
	_, err := verdictNamed("b")
	assert.EqualError(t, err, `"b" can be bled, bubbles: type more of it.`)
	_, err = verdictNamed("pink")
	assert.EqualError(t, err, `"pink" is no verdict.`)
}

// judges is a watcher of a bench that has one shot, and what was sent to it.
func judges(t *testing.T) (w *watcher, sent *[]string) {
	sent = &[]string{} // written by the server before it answers, read after the answer
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			_, _ = w.Write([]byte(`{"run": {"id": 7}, "shots": [{"number": 4, "wall": "2026-03-01T19:30:00Z"}]}`))
			return
		}
		*sent = append(*sent, r.URL.Path+" "+r.PostFormValue("fault")+r.PostFormValue("take-back"))
	}))
	t.Cleanup(bench.Close)
	remote, err := At(bench.URL, "")
	require.NoError(t, err)
	w = &watcher{Options: Options{Remote: remote}, ctx: t.Context(), words: view.Terminal(), told: make(chan do), heard: nothingHeard()}
	at := time.Now()
	w.heard.take(Heard{Raw: seen(t, at)}, at)
	return w, sent
}

func (w *watcher) types(text string) {
	for _, r := range text {
		w.key(Key{Rune: r})
	}
}

// TestAVerdictIsOfItsOwnRun, and goes alone when it is taken back.
func TestAVerdictIsOfItsOwnRun(t *testing.T) {
	w, sent := judges(t)
	w.types("j")
	(<-w.told)(w)
	require.NotNil(t, w.judging)
	w.types("bled\r")
	(<-w.told)(w)
	w.types("u")
	(<-w.told)(w)
	assert.Equal(t, []string{"/api/v1/runs/7/shots/4/verdict bled", "/api/v1/runs/7/shots/4/verdict bledyes"}, *sent)
}

// TestALateQuestionIsNone: what is pressed after it was not meant for it.
func TestALateQuestionIsNone(t *testing.T) {
	w, sent := judges(t)
	w.types("j1")
	(<-w.told)(w)
	assert.Nil(t, w.judging)
	assert.Nil(t, w.typing)
	assert.Equal(t, 1, w.chosen)
	assert.Empty(t, *sent)
}

// TestNoVerdictGoesForAnother: what was said before is changed where all of it is seen.
func TestNoVerdictGoesForAnother(t *testing.T) {
	for was, typed := range map[string]string{"bled": "clean", "clean": "bled", "seam": "seam"} {
		w, sent := judges(t)
		w.judge(&pushed{run: 7, Number: 4, Verdicts: []shot.Verdict{{Fault: was, Colours: []string{"slate"}}}}, typed)
		assert.Contains(t, w.message.Text, "Shot 4 is judged already: "+was)
		assert.Empty(t, *sent)
	}
}

// TestNothingHidesWhatWentWrong while a line is typed.
func TestNothingHidesWhatWentWrong(t *testing.T) {
	w, _ := judges(t)
	w.typing, w.judging = &entry{}, &pushed{Number: 4}
	w.say(view.Danger, "ALL OFF was not sent")
	lines := w.foot(console.Small)
	assert.Equal(t, "ALL OFF was not sent", lines[0].Text)
	w.say(view.Plain, "taken")
	assert.NotEqual(t, "taken", w.foot(console.Small)[0].Text)
}

// TestTheListOfKeysFits on the smallest screen, with the one key more of a simulated bench.
func TestTheListOfKeysFits(t *testing.T) {
	w := &watcher{Options: Options{Enable: func() {}}, words: view.Terminal(), heard: nothingHeard()}
	assert.LessOrEqual(t, len(w.helpLines()), console.Small.Height)
}
