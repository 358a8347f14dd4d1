package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/photo"
	"meltwarden/daemon/review"
)

// photoFlags are what is to be done with which photo of a shot.
type photoFlags struct {
	run      int64
	shot     int
	takeBack int64
	number   int64
	out      string
	asJSON   bool
}

func photoCommand() *cobra.Command {
	var f photoFlags
	c := &cobra.Command{
		Use: "photo RUN SHOT [FILE]", Short: "Attach a photo to a shot; without a file, list its photos",
		Long: "Attaches a photo in JPEG or PNG to a shot. It is made smaller and encoded anew: what a\n" +
			"camera writes beside the picture, such as the place, is not kept. It lies in the\n" +
			"history's file, so that backup and export --as archive have it as well.\n" + review.PhotoWhy,
		Args: cobra.RangeArgs(2, 3),
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.read(args); err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error { return f.do(c.OutOrStdout(), s, args[2:]) })
		},
	}
	c.Flags().Int64Var(&f.takeBack, "take-back", 0, "take the photo with this number back: it is gone")
	c.Flags().Int64Var(&f.number, "number", 0, "with --out, the photo to write")
	c.Flags().StringVar(&f.out, "out", "", "write the photo of --number to this file; it must not exist yet")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object")
	oneOf(c, "take-back", "out")
	dataFlag(c)
	return c
}

func (f *photoFlags) read(args []string) (err error) {
	if f.run, err = runNumber(args[0]); err != nil {
		return err
	}
	if f.shot, err = strconv.Atoi(args[1]); err != nil {
		return fmt.Errorf("shot %q: write the number that the command review shows", args[1])
	}
	if (f.number == 0) != (f.out == "") {
		return errors.New("--number and --out go together: which photo, and the file to write it to")
	}
	if len(args) == 3 && (f.takeBack != 0 || f.out != "") {
		return errors.New("name a file to attach, or --take-back or --out, not both")
	}
	return nil
}

func (f *photoFlags) do(out io.Writer, s *history.Store, file []string) error {
	var err error
	switch {
	case len(file) == 1:
		err = f.attach(s, file[0])
	case f.takeBack != 0 || f.out != "":
		err = f.handle(s)
	}
	if err != nil {
		return err
	}
	if f.out != "" && !f.asJSON {
		_, err := fmt.Fprintf(out, "photo %d is written to %s\n", f.number, f.out)
		return err
	}
	photos, err := f.photos(s)
	if err != nil {
		return err
	}
	if f.asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"run": f.run, "shot": f.shot, "photos": photos})
	}
	for _, line := range review.PhotoLines(photos) {
		fmt.Fprintln(out, line)
	}
	return nil
}

func (f *photoFlags) attach(s *history.Store, path string) error {
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("photo %s: %w: name a JPEG or PNG that is there", path, errors.Unwrap(err))
	}
	defer file.Close()
	taken, err := photo.Take(file)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return s.AddPhoto(f.run, f.shot, time.Now(), taken)
}

// handle takes back or writes a photo that the shot has.
func (f *photoFlags) handle(s *history.Store) error {
	photos, err := f.photos(s)
	if err != nil {
		return err
	}
	id := max(f.takeBack, f.number)
	if !slices.ContainsFunc(photos, func(p history.Photo) bool { return p.ID == id }) {
		return fmt.Errorf("run %d, shot %d, photo %d: %w", f.run, f.shot, id, history.ErrNoPhoto)
	}
	if f.takeBack != 0 {
		return s.RemovePhoto(f.run, id)
	}
	jpeg, err := s.Picture(f.run, id, false)
	if err != nil {
		return err
	}
	return writeNew(f.out, jpeg)
}

func (f *photoFlags) photos(s *history.Store) ([]history.Photo, error) {
	shots, err := s.Shots(f.run)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(shots, func(sh history.Shot) bool { return sh.Number == f.shot })
	if at < 0 {
		return nil, fmt.Errorf("run %d, shot %d: %w", f.run, f.shot, history.ErrNoShot)
	}
	return shots[at].Photos, nil
}
