package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/lines"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/qr"
	"meltwarden/daemon/view"
)

func phoneCommand() *cobra.Command {
	l := view.Texts()
	c := &cobra.Command{
		Use: "phone", Short: "Let phones in, see which are, and put them out",
		Long: wrapped([]string{l.PhonesWhy, l.PhonePlain}), Args: cobra.NoArgs,
	}
	c.AddCommand(phoneAddCommand(), phoneListCommand(), phonePutOutCommand())
	return c
}

// withPhones runs f on the phones of the folder that --data names.
func withPhones(c *cobra.Command, f func(*phone.Store) error) error {
	folder, err := c.Flags().GetString("data")
	if err != nil {
		return err
	}
	s := phone.Open(folder)
	defer s.Close()
	return f(s)
}

// phoneAdd are what is said of a phone that is to be let in.
type phoneAdd struct {
	name, valid, address string
	asJSON               bool
}

func phoneAddCommand() *cobra.Command {
	var f phoneAdd
	c := &cobra.Command{
		Use: "add NAME", Short: "Let a phone in: show the code that its camera reads, good once",
		Long: "Makes room for a phone and shows its pairing code, good once and for ten minutes. It\nworks while the program serves: serve or demo, with the same data folder.\n\n" +
			lines.Wrap("", view.Texts().PhonePlain),
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			f.name = strings.Join(args, " ")
			return withPhones(c, func(s *phone.Store) error { return f.do(c.OutOrStdout(), s) })
		},
	}
	c.Flags().StringVar(&f.valid, "for", phone.DefaultForTyped, "for how long: 10 min to 365 days")
	c.Flags().StringVar(&f.address, "address", "", "which of this computer's addresses the code is for; the likeliest where none is named")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object; the code is in it")
	dataFlag(c)
	return c
}

func (f *phoneAdd) do(out io.Writer, s *phone.Store) error {
	valid, err := phone.ParseFor(f.valid)
	if err != nil {
		return fmt.Errorf("--%w", err)
	}
	addresses, err := reached(s)
	if err != nil {
		return err
	}
	if addresses, err = f.chosenFirst(addresses); err != nil {
		return err
	}
	p, code, err := s.Add(f.name, valid, time.Now())
	if err != nil {
		return err
	}
	var urls []string
	for _, a := range addresses {
		urls = append(urls, a.URL("/pair/"+code))
	}
	if f.asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"phone": p.Shown(time.Now()), "pair_at": urls, "pair_until": p.CodeEnds})
	}
	return tellAdded(out, p, addresses, urls)
}

// reached are the addresses under which phones reach the program that serves now.
func reached(s *phone.Store) ([]phone.Address, error) {
	listen, err := s.Served()
	switch {
	case err != nil:
		return nil, err
	case listen == "":
		return nil, fmt.Errorf("nothing was ever served from this data folder: start serve or demo with it, or name another with --data, and ask again")
	}
	all := phone.Addresses(listen)
	if len(all) == 0 {
		return nil, fmt.Errorf("no phone can be let in.\n%s", lines.Wrap("", view.PhonesShut(listen)))
	}
	// Whoever answers there need not be it, but where nobody does a code is of no use.
	to, err := net.DialTimeout("tcp", fromThisComputer(listen), time.Second)
	if err != nil {
		return nil, fmt.Errorf("nobody answers on %s, where it was served last (%w): start serve or demo with this data folder, and ask again", listen, err)
	}
	return all, to.Close()
}

func (f *phoneAdd) chosenFirst(all []phone.Address) ([]phone.Address, error) {
	if f.address == "" {
		return all, nil
	}
	var names []string
	for i, a := range all {
		if a.Host == f.address {
			return append([]phone.Address{a}, append(append([]phone.Address{}, all[:i]...), all[i+1:]...)...), nil
		}
		names = append(names, a.Host)
	}
	return nil, fmt.Errorf("--address %q: this computer is not reached there; write one of %s", f.address, strings.Join(names, ", "))
}

func tellAdded(out io.Writer, p phone.Phone, addresses []phone.Address, urls []string) error {
	l := view.Texts()
	w := lines.To(out)
	w.Line("%s", lines.Wrap("", fmt.Sprintf(l.ScanThis, p.Name, p.CodeEnds.Local().Format("15:04"))+" "+fmt.Sprintf(l.AddedUntil, view.PhoneTime(p.Ends))))
	if isTerminal(out) { // elsewhere there is nothing that a camera could read
		drawn, err := qr.Of(urls[0])
		if err != nil {
			return err
		}
		w.Line("\n%s\n", strings.Join(drawn.Lines(), "\n"))
	}
	w.Line("  %s", withNetwork(urls[0], addresses[0]))
	if addresses[0].Public {
		w.Line("%s", lines.Wrap("  ", l.PublicWay))
	}
	if len(urls) > 1 {
		w.Line("%s:", l.OtherWays)
		for i, url := range urls[1:] {
			w.Line("  %s", withNetwork(url, addresses[i+1]))
		}
	}
	w.Line("\n%s", lines.Wrap("", l.PhonesWhy))
	w.Line("%s", lines.Wrap("", l.PhonePlain))
	return w.Err()
}

func withNetwork(url string, a phone.Address) string {
	if a.On == "" {
		return url
	}
	return fmt.Sprintf("%s  (%s)", url, fmt.Sprintf(view.Texts().OnNetwork, a.On))
}

func phoneListCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "list", Short: "List the phones: how each stands, and when it was seen last", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withPhones(c, func(s *phone.Store) error {
				all, err := s.List()
				if err != nil {
					return err
				}
				if why := s.Trouble(); why != nil {
					fmt.Fprintln(c.ErrOrStderr(), lines.Wrap("", why.Error()))
				}
				return tellPhones(c.OutOrStdout(), all, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellPhones(out io.Writer, all []phone.Phone, asJSON bool) error {
	now := time.Now()
	if asJSON {
		shown := []phone.Shown{}
		for _, p := range all {
			shown = append(shown, p.Shown(now))
		}
		return json.NewEncoder(out).Encode(map[string]any{"phones": shown})
	}
	if len(all) == 0 {
		_, err := fmt.Fprintln(out, view.Texts().NoPhones)
		return err
	}
	table := lines.Table{}
	table.Row("number", "phone", "state", "added", "until", "last seen")
	for _, p := range all {
		table.Row(fmt.Sprint(p.ID), p.Name, p.State(now).Words(), view.PhoneTime(p.Made), view.PhoneTime(p.Ends), view.PhoneTime(p.Seen))
	}
	_, err := fmt.Fprint(out, table.String())
	return err
}

func phonePutOutCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "put-out NAME", Short: "Put a phone out at once, by its name or its number", Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withPhones(c, func(s *phone.Store) error {
				now := time.Now()
				p, err := s.Revoke(strings.Join(args, " "), now)
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"phone": p.Shown(now)})
				}
				if !p.Revoked.Equal(now) {
					return outcome(c.OutOrStdout(), false, nil, "phone %d, %s, was put out already, %s; nothing is changed", p.ID, p.Name, view.PhoneTime(p.Revoked))
				}
				return outcome(c.OutOrStdout(), false, nil, "phone %d, %s, is out since %s", p.ID, p.Name, view.PhoneTime(p.Revoked))
			})
		},
	}
	c.ValidArgsFunction = phoneNames
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}
