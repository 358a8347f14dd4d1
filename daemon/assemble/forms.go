package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"charm.land/huh/v2"
	"charm.land/lipgloss/v2"
)

// forms asks on forms, at a terminal. When a question is answered its form is gone, and a
// line with the answer stays.
type forms struct {
	Options
}

func onForms(o Options) asker { return &forms{o} }

// otherwise is chosen to type what is not among the choices.
const otherwise = "\x00"

func (f *forms) ask(ctx context.Context, q Question, wrong error) (answer string, err error) {
	if wrong != nil {
		fmt.Fprintln(f.Out, f.hung("  Not taken: ", wordsOf(wrong)))
	}
	if len(q.Among) > 0 {
		if answer, err = f.choose(ctx, q); err != nil || answer != otherwise {
			return f.tell(q, answer, err)
		}
		q.Usual = ""
	}
	answer, err = f.typed(ctx, q)
	return f.tell(q, answer, err)
}

// tell leaves a line with the answer.
func (f *forms) tell(q Question, answer string, err error) (string, error) {
	if err == nil {
		taken := strings.TrimSpace(answer)
		if taken == "" {
			taken = q.Usual
		}
		fmt.Fprintln(f.Out, f.hung("  ", q.Ask+" "+taken))
	}
	return answer, err
}

// choose has one of the choices taken.
func (f *forms) choose(ctx context.Context, q Question) (string, error) {
	var options []huh.Option[string]
	for _, c := range q.Among {
		options = append(options, huh.NewOption(c.Value+": "+c.Words, c.Value))
	}
	if q.Open {
		options = append(options, huh.NewOption("type it", otherwise))
	}
	options = append(options, huh.NewOption("< back", back))
	if q.Key != "" {
		options = append(options, huh.NewOption("? all answers", review))
	}
	answer := q.Usual
	if answer == "" {
		answer = q.Among[0].Value
	}
	field := huh.NewSelect[string]().Title(q.Ask).Description(q.Help).Options(options...).Value(&answer)
	return answer, f.run(ctx, field)
}

// typed has an answer typed; what can not be accepted is said at once.
func (f *forms) typed(ctx context.Context, q Question) (answer string, err error) {
	help := strings.TrimSpace(q.Help)
	if q.Usual != "" {
		help = strings.TrimSpace(help + "\nEnter keeps " + q.Usual + ".")
	}
	if q.Key != "" {
		help = strings.TrimSpace(help + "\n< goes back one question, ? shows all answers.")
	}
	field := huh.NewInput().Title(q.Ask).Description(help).Value(&answer).Validate(func(typed string) error {
		if t := strings.TrimSpace(typed); t == back || t == review || t == "" && q.Do == NotePort { // which looks again
			return nil
		}
		_, err := q.accept(typed)
		return err
	})
	return answer, f.run(ctx, field)
}

// run has one field filled in. The form has its own share of what is typed: the library's
// reader can outlast its form, and would swallow what is typed next.
func (f *forms) run(ctx context.Context, field huh.Field) error {
	share, done := context.WithCancel(ctx)
	defer done()
	form := huh.NewForm(huh.NewGroup(field)).WithInput(f.keys(share)).WithOutput(f.Out).
		WithWidth(f.width()).WithTheme(huh.ThemeFunc(quiet)).WithKeyMap(fewKeys())
	err := form.RunWithContext(ctx)
	if errors.Is(err, huh.ErrUserAborted) || ctx.Err() != nil {
		return ErrStopped
	}
	return err
}

// fewKeys are those that a question needs: there is nothing to filter in a handful of answers.
func fewKeys() *huh.KeyMap {
	k := huh.NewDefaultKeyMap()
	k.Select.Filter.SetEnabled(false)
	k.Select.Submit.SetHelp("enter", "take it")
	k.Input.Submit.SetHelp("enter", "take it")
	return k
}

// keys are a form's share of what is typed, at the terminal itself where it is one.
func (f *forms) keys(share context.Context) io.Reader {
	r := &upToEnter{typedReader: typedReader{f.In, share}}
	if tty, is := f.In.in.(*os.File); is {
		return keys{r, tty}
	}
	return r
}

// keys are read from what is shared, and belong to a terminal whose modes can be set.
type keys struct {
	io.Reader
	tty *os.File
}

func (k keys) Fd() uintptr                 { return k.tty.Fd() }
func (k keys) Write(p []byte) (int, error) { return k.tty.Write(p) }
func (k keys) Close() error                { return nil } // others read on

// upToEnter gives what is typed up to an Enter, and no more until it has shown that this did
// not end the form: what stands behind belongs to the next one.
type upToEnter struct {
	typedReader
	entered bool
}

// notEnded is how long a form may take to end (E: many times what it takes).
const notEnded = 400 * time.Millisecond

// Read implements io.Reader.
func (r *upToEnter) Read(p []byte) (int, error) {
	if r.entered {
		select {
		case <-r.ctx.Done():
			return 0, io.EOF
		case <-time.After(notEnded):
		}
		r.entered = false
	}
	n, err := r.typedReader.Read(p)
	for i, key := range p[:n] {
		if key == '\n' || key == '\r' { // what was typed between two forms comes as a line
			p[i], r.entered = '\r', true
			r.giveBack(p[i+1 : n])
			return i + 1, err
		}
	}
	return n, err
}

// quiet is how forms look: without colours of their own, as all is grey while nothing is
// wrong.
func quiet(dark bool) *huh.Styles {
	s := huh.ThemeBase(dark)
	plain := lipgloss.NewStyle()
	s.Focused.Base = plain.PaddingLeft(2)
	s.Focused.Title = plain.Bold(true)
	s.Focused.ErrorIndicator = plain
	s.Focused.ErrorMessage = plain.Bold(true)
	s.Focused.SelectedOption = plain.Bold(true)
	s.Focused.TextInput.Prompt = plain
	s.Blurred = s.Focused
	return s
}
