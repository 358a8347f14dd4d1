package phone

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var start = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

func opened(t *testing.T) *Store {
	s := Open(t.TempDir())
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// paired is a phone that is let in for a time, and what it carries.
func paired(t *testing.T, s *Store, name string, valid time.Duration) (Phone, string) {
	t.Helper()
	_, code, err := s.Add(name, valid, start)
	require.NoError(t, err)
	p, token, err := s.Pair(code, start.Add(time.Minute))
	require.NoError(t, err)
	return p, token
}

func TestAPhoneIsPairedOnceAndLetInUntilItsEnd(t *testing.T) {
	s := opened(t)
	p, code, err := s.Add("  blue \t one ", 24*time.Hour, start)
	require.NoError(t, err)
	assert.Equal(t, "blue one", p.Name)
	assert.Equal(t, Waits, p.State(start))
	_, err = s.Who(code, start)
	require.ErrorIs(t, err, ErrUnknown, "a code is no token")

	typed := strings.ToUpper(code[:8]) + " " + code[8:14] + "-" + code[14:] // as people type it
	p, token, err := s.Pair(typed, start.Add(9*time.Minute))
	require.NoError(t, err)
	assert.Equal(t, In, p.State(start.Add(9*time.Minute)))
	_, _, err = s.Pair(code, start.Add(9*time.Minute))
	require.ErrorIs(t, err, ErrCode, "once")

	for _, step := range []struct {
		after time.Duration
		want  error
	}{
		{10 * time.Minute, nil}, {24*time.Hour - time.Second, nil}, {24 * time.Hour, ErrExpired}, {400 * 24 * time.Hour, ErrExpired},
		{10 * time.Minute, ErrExpired}, // a clock that is set back
	} {
		who, err := s.Who(token, start.Add(step.after))
		require.ErrorIs(t, err, step.want, step.after)
		require.ErrorIs(t, s.Still(p.ID, start.Add(step.after)), step.want, step.after)
		assert.Equal(t, "blue one", who.Name)
	}
	for _, wrong := range []string{"", token + "a", token[:len(token)-1], "9" + token, strings.Replace(token, "1-", "2-", 1), "1-" + strings.Repeat("a", 52)} {
		_, err := s.Who(wrong, start.Add(time.Hour))
		require.ErrorIs(t, err, ErrUnknown, wrong)
	}
}

func TestACodeIsGoodForMinutes(t *testing.T) {
	s := opened(t)
	_, code, err := s.Add("blue", DefaultFor, start)
	require.NoError(t, err)
	_, _, err = s.Pair(code, start.Add(CodeFor))
	require.ErrorIs(t, err, ErrCode)
	_, _, err = s.Add("blue", DefaultFor, start.Add(CodeFor))
	require.NoError(t, err, "the name is free again")
}

// TestRevokedIsOutAtOnce, also where another program says so, and where the file is gone.
func TestRevokedIsOutAtOnce(t *testing.T) {
	folder := t.TempDir()
	daemon, command := Open(folder), Open(folder)
	defer daemon.Close()
	defer command.Close()
	blue, token := paired(t, daemon, "blue", DefaultFor)
	_, other := paired(t, command, "red", DefaultFor)
	_, err := daemon.Who(token, start.Add(time.Hour))
	require.NoError(t, err)

	_, err = command.Revoke("blue", start.Add(time.Hour))
	require.NoError(t, err)
	_, err = daemon.Who(token, start.Add(time.Hour))
	require.ErrorIs(t, err, ErrRevoked)
	require.ErrorIs(t, daemon.Still(blue.ID, start.Add(time.Hour)), ErrRevoked)
	_, err = daemon.Who(other, start.Add(time.Hour))
	require.NoError(t, err)
	again, err := command.Revoke("blue", start.Add(2*time.Hour))
	require.NoError(t, err)
	require.Equal(t, blue.ID, again.ID)
	require.True(t, again.Revoked.Equal(start.Add(time.Hour)), "since then: %v", again.Revoked)
	_, err = command.Revoke("green", start)
	require.ErrorIs(t, err, ErrNoPhone)

	require.NoError(t, os.Remove(filepath.Join(folder, FileName)))
	_, err = daemon.Who(other, start.Add(time.Hour))
	require.ErrorIs(t, err, ErrUnknown, "whoever deletes the file has put all out")
	_, err = daemon.Who(other, start.Add(time.Hour))
	require.ErrorIs(t, err, ErrUnknown)
}

// TestNoSecretIsKept: neither a code nor a token stands in the file, which nobody else on
// the computer may read.
func TestNoSecretIsKept(t *testing.T) {
	s := opened(t)
	_, code, err := s.Add("blue", DefaultFor, start)
	require.NoError(t, err)
	_, token := paired(t, s, "red", DefaultFor)
	require.NoError(t, s.Close())
	kept, err := os.ReadFile(s.path)
	require.NoError(t, err)
	assert.Contains(t, string(kept), "blue")
	for _, handed := range []string{code, token} {
		_, rest, _ := strings.Cut(handed, "-")
		raw, err := letters.DecodeString(strings.ToUpper(rest))
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(raw)*8, 128, "bits")
		for _, clear := range []string{rest, strings.ToUpper(rest), string(raw)} {
			assert.NotContains(t, string(kept), clear)
		}
	}
	info, err := os.Stat(s.path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestOneOfManyGetsACode(t *testing.T) {
	folder := t.TempDir()
	first := Open(folder)
	defer first.Close()
	_, code, err := first.Add("blue", DefaultFor, start)
	require.NoError(t, err)
	var wait sync.WaitGroup
	got := make(chan error, 8)
	for range 8 {
		wait.Go(func() {
			s := Open(folder) // each like a program of its own
			defer s.Close()
			_, _, err := s.Pair(code, start)
			got <- err
		})
	}
	wait.Wait()
	close(got)
	let := 0
	for err := range got {
		if err == nil {
			let++
			continue
		}
		require.ErrorIs(t, err, ErrCode)
	}
	assert.Equal(t, 1, let)
}

func TestWhatCanNotBeAdded(t *testing.T) {
	s := opened(t)
	paired(t, s, "blue", DefaultFor)
	for want, add := range map[string]func() error{
		`"blue" is let in until 2026-03-31; put it out first`: func() error { _, _, err := s.Add("blue", DefaultFor, start); return err },
		"name: empty":          func() error { _, _, err := s.Add(" \n", DefaultFor, start); return err },
		"no letter in it":      func() error { _, _, err := s.Add("7", DefaultFor, start); return err },
		"can not be printed":   func() error { _, _, err := s.Add("blue\x1b[2J", DefaultFor, start); return err },
		"more than 40 letters": func() error { _, _, err := s.Add(strings.Repeat("b", 41), DefaultFor, start); return err },
		"10 min to 365 days":   func() error { _, _, err := s.Add("red", MostFor+1, start); return err },
		"write a time span":    func() error { _, _, err := s.Add("red", time.Minute, start); return err },
	} {
		require.ErrorContains(t, add(), want)
	}
	for i := range MostPhones - 1 {
		_, _, err := s.Add(fmt.Sprintf("phone %d", i), DefaultFor, start)
		require.NoError(t, err)
	}
	_, _, err := s.Add("one more", DefaultFor, start)
	require.ErrorContains(t, err, "no more can be; put one out first")
	_, _, err = s.Add("phone 3", DefaultFor, start)
	require.NoError(t, err, "what was not paired makes way for its like")
	all, err := s.List()
	require.NoError(t, err)
	assert.Equal(t, "phone 3", all[0].Name)
}

func TestWhenAPhoneWasHereLast(t *testing.T) {
	s := opened(t)
	_, token := paired(t, s, "blue", DefaultFor)
	before, err := os.ReadFile(s.path)
	require.NoError(t, err)
	for _, after := range []time.Duration{90 * time.Second, 100 * time.Second, time.Hour} {
		_, err := s.Who(token, start.Add(after))
		require.NoError(t, err)
	}
	after, err := os.ReadFile(s.path)
	require.NoError(t, err)
	assert.Equal(t, before, after, "an ALL OFF waits for no disk")
	require.NoError(t, s.Passed(start.Add(time.Hour), time.Minute))
	all, err := s.List()
	require.NoError(t, err)
	assert.True(t, all[0].Seen.Equal(start.Add(time.Hour)), all[0].Seen)
}

// TestAClockThatIsSetBack lets nobody in who was out, whether asked about or not, and after
// a new start; one that was ahead by mistake keeps nobody out who is added afterwards.
func TestAClockThatIsSetBack(t *testing.T) {
	s := opened(t)
	_, blue := paired(t, s, "blue", time.Hour)
	_, red := paired(t, s, "red", 24*time.Hour)
	require.NoError(t, s.Passed(start.Add(2*time.Hour), time.Minute))
	require.NoError(t, s.Close())
	_, err := s.Who(blue, start.Add(10*time.Minute))
	require.ErrorIs(t, err, ErrExpired)
	_, err = s.Who(red, start.Add(10*time.Minute))
	require.NoError(t, err)

	require.NoError(t, s.Passed(start.Add(4000*24*time.Hour), time.Minute))
	_, err = s.Who(red, start.Add(3*time.Hour))
	require.ErrorIs(t, err, ErrExpired)
	_, code, err := s.Add("green", time.Hour, start.Add(3*time.Hour))
	require.NoError(t, err)
	_, green, err := s.Pair(code, start.Add(3*time.Hour))
	require.NoError(t, err)
	_, err = s.Who(green, start.Add(3*time.Hour))
	require.NoError(t, err)
	for _, out := range []string{blue, red} {
		_, err = s.Who(out, start.Add(10*time.Minute))
		require.ErrorIs(t, err, ErrRevoked, "for good")
	}
}

// TestAClockThatIsSetBackKeepsNobodyIn: time goes on for phones while the clock is behind.
func TestAClockThatIsSetBackKeepsNobodyIn(t *testing.T) {
	s := opened(t)
	blue, token := paired(t, s, "blue", time.Hour)
	require.NoError(t, s.Passed(start.Add(30*time.Minute), 0))
	back := start.Add(-40 * 24 * time.Hour)
	for minute := range 30 {
		_, err := s.Who(token, back)
		require.NoError(t, err, minute)
		back = back.Add(time.Minute)
		require.NoError(t, s.Passed(back, time.Minute))
	}
	_, err := s.Who(token, back)
	require.ErrorIs(t, err, ErrExpired)
	require.ErrorIs(t, s.Still(blue.ID, back), ErrExpired)
}

// TestABrokenFileIsSetAside, byte for byte: it lets nobody in, that is said until a phone
// was paired again, and phones can be.
func TestABrokenFileIsSetAside(t *testing.T) {
	for name, spoil := range map[string]func([]byte) []byte{
		"no file of ours": func([]byte) []byte { return []byte("no such file of ours, and long enough to be read as one") },
		"a page is lost":  func(b []byte) []byte { copy(b[4096:], make([]byte, 4096)); return b },
		"its end is lost": func(b []byte) []byte { return b[:len(b)-4096] },
		"all is lost":     func([]byte) []byte { return []byte{} },
	} {
		t.Run(name, func(t *testing.T) {
			s := opened(t)
			_, blue := paired(t, s, "blue", DefaultFor)
			require.NoError(t, s.Trouble())
			require.NoError(t, s.Close())
			kept, err := os.ReadFile(s.path)
			require.NoError(t, err)
			kept = spoil(kept)
			require.NoError(t, os.WriteFile(s.path, kept, 0o600))

			_, err = s.Who(blue, start.Add(time.Hour))
			require.ErrorIs(t, err, ErrUnknown)
			var aside *SetAsideError
			require.ErrorAs(t, s.Trouble(), &aside)
			require.ErrorContains(t, s.Trouble(), "every phone is out until it is let in anew")
			found, err := os.ReadFile(filepath.Join(filepath.Dir(s.path), aside.File))
			require.NoError(t, err)
			assert.Equal(t, kept, found)
			require.NoError(t, s.Close())
			require.ErrorAs(t, s.Trouble(), &aside, "after a new start as well")

			_, red := paired(t, s, "red", DefaultFor)
			require.NoError(t, s.Trouble())
			_, err = s.Who(red, start.Add(time.Hour))
			require.NoError(t, err)
			_, err = s.Who(blue, start.Add(time.Hour))
			require.ErrorIs(t, err, ErrUnknown)
		})
	}
}

// TestAFileThatIsCutWhileItIsOpen is set aside as well; one that another program is making is not.
func TestAFileThatIsCutWhileItIsOpen(t *testing.T) {
	s := opened(t)
	_, blue := paired(t, s, "blue", DefaultFor)
	require.NoError(t, os.Truncate(s.path, 0))
	_, err := s.Who(blue, start.Add(time.Hour))
	require.ErrorIs(t, err, ErrUnknown)
	var aside *SetAsideError
	require.ErrorAs(t, s.Trouble(), &aside)

	folder := t.TempDir()
	var wait sync.WaitGroup
	for i := range 8 {
		wait.Go(func() {
			s := Open(folder) // each like a program of its own
			defer s.Close()
			_, _, err := s.Add(fmt.Sprintf("phone %d", i), DefaultFor, start)
			assert.NoError(t, err)
			assert.NoError(t, s.Trouble())
		})
	}
	wait.Wait()
	all, err := Open(folder).List()
	require.NoError(t, err)
	assert.Len(t, all, 8)
}

// TestAFileThatCanNotBeUsed lets nobody in, and says so.
func TestAFileThatCanNotBeUsed(t *testing.T) {
	s := opened(t)
	all, err := s.List()
	require.NoError(t, err)
	assert.Empty(t, all)
	assert.NoFileExists(t, s.path, "whoever only looks makes none")
	listen, err := s.Served()
	require.NoError(t, err)
	assert.Empty(t, listen)

	require.NoError(t, os.Mkdir(s.path, 0o700))
	_, err = s.Who("1-"+strings.Repeat("a", 52), start)
	var trouble *TroubleError
	require.ErrorAs(t, err, &trouble)
	require.ErrorContains(t, err, s.path)
	assert.False(t, errors.Is(err, ErrUnknown))
}

func TestServedIsWhereItServedLast(t *testing.T) {
	s := opened(t)
	require.NoError(t, s.Serve("127.0.0.1:8420"))
	require.NoError(t, s.Serve("0.0.0.0:8420"))
	listen, err := s.Served()
	require.NoError(t, err)
	assert.Equal(t, "0.0.0.0:8420", listen)
}

// TestWrongSecretsAreSlowedDown, by place: ten in a row, then one every six seconds.
func TestWrongSecretsAreSlowedDown(t *testing.T) {
	var tries Tries
	for i := range mostTries {
		require.Zero(t, tries.Wait("192.0.2.7", start), i)
		tries.Wrong("192.0.2.7", start)
	}
	assert.Equal(t, tryEvery, tries.Wait("192.0.2.7", start))
	assert.Zero(t, tries.Wait("192.0.2.8", start), "another place")
	assert.Zero(t, tries.Wait("192.0.2.7", start.Add(tryEvery)))
	tries.Wrong("192.0.2.7", start.Add(tryEvery))
	assert.Equal(t, tryEvery, tries.Wait("192.0.2.7", start.Add(tryEvery)))
	assert.Zero(t, tries.Wait("192.0.2.7", start.Add(time.Hour)))

	for i := range mostTries { // one computer, ten of its addresses (RFC 3849)
		tries.Wrong(fmt.Sprintf("2001:db8::%x", i+1), start)
	}
	assert.NotZero(t, tries.Wait("2001:db8::ffff", start))
	assert.Zero(t, tries.Wait("2001:db8:1::1", start))

	for i := range 4 * mostPlaces {
		tries.Wrong(fmt.Sprintf("10.0.%d.%d", i/256, i%256), start)
	}
	assert.LessOrEqual(t, len(tries.places), mostPlaces+1)
	assert.NotZero(t, tries.Wait("203.0.113.9", start), "the rest counts as one")
	assert.Zero(t, tries.Wait("192.0.2.200", start.Add(24*time.Hour)))
}

func TestAddresses(t *testing.T) {
	for _, own := range []string{"127.0.0.1:8420", "[::1]:8420", "localhost:8420"} {
		assert.Empty(t, Addresses(own), own)
	}
	for listen, url := range map[string]string{
		"192.168.1.20:8420": "http://192.168.1.20:8420/pair", "[fd00::2]:8420": "http://[fd00::2]:8420/pair", "bench.example:80": "http://bench.example:80/pair",
	} {
		all := Addresses(listen)
		require.Len(t, all, 1, listen)
		assert.Equal(t, url, all[0].URL("/pair"))
		assert.False(t, all[0].Public)
	}
	assert.True(t, Addresses("203.0.113.5:8420")[0].Public) // not of RFC 1918
	for _, every := range []string{"0.0.0.0:8420", ":8420", "[::]:8420"} {
		all := Addresses(every)
		require.NotEmpty(t, all, "a computer has a name at least")
		for _, a := range all {
			assert.NotContains(t, a.Host, "127.0.0.1")
			assert.Equal(t, "8420", a.Port)
		}
	}
}

// FuzzParse: whatever is handed in, it is a secret of the right size or none, and one that
// was made reads back.
func FuzzParse(f *testing.F) {
	for _, n := range []int{codeBytes, tokenBytes} {
		handed, _ := newSecret(7, n)
		f.Add(handed)
		f.Add(strings.ToUpper(handed))
	}
	for _, odd := range []string{"", "-", "7-", "-7-aaaa", "07-aaaaaaaaaaaaaaaaaaaaaaaaaa", "9223372036854775808-aaaaaaaaaaaaaaaaaaaaaaaaaa", "7-aaaaaaaaaaaaaaaaaaaaaaaaa=", "７-aaaaaaaaaaaaaaaaaaaaaaaaaa"} {
		f.Add(odd)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		for _, n := range []int{codeBytes, tokenBytes} {
			s, ok := parse(typed, n)
			if !ok {
				require.Zero(t, s)
				continue
			}
			require.Positive(t, s.id)
			require.False(t, s.fits(nil))
			require.True(t, s.fits(s.digest[:]))
			handed, digest := newSecret(s.id, n)
			again, ok := parse(handed, n)
			require.True(t, ok)
			require.Equal(t, s.id, again.id)
			require.True(t, again.fits(digest))
			require.False(t, s.fits(digest), "two secrets are never the same")
		}
	})
}
