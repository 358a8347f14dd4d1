package press

import (
	"fmt"
	"slices"
)

// eliminate uses what is known of one contact for another: a bit that is one contact is
// not the one that moved with it, and one that would be two contacts is neither.
func eliminate(contacts []Contact, all []heard) {
	for range contacts {
		if shared(contacts) {
			continue
		}
		if !taken(contacts, all) {
			return
		}
	}
}

// shared takes back what was told of one bit for several contacts, and reports whether there
// was one.
func shared(contacts []Contact) (found bool) {
	for i := range contacts {
		if !contacts[i].Told {
			continue
		}
		bit := contacts[i].Bit
		var same []int
		for j, o := range contacts {
			if o.Told && o.Bit == bit {
				same = append(same, j)
			}
		}
		for n, j := range same {
			if len(same) > 1 {
				contacts[j].untell(bit, contacts[same[(n+1)%len(same)]].Name)
				found = true
			}
		}
	}
	return found
}

func (c *Contact) untell(bit Bit, other string) {
	*c = Contact{Name: c.Name, Rivals: []Rival{}, Notes: []string{}, Why: fmt.Sprintf(
		"%s moved for it and for %s alike: only one of them is wired to it, or one works the other. Press each alone.", bit.Short(), other)}
}

// taken leaves out bits that are other contacts where nothing was told, and reports whether
// that told one.
func taken(contacts []Contact, all []heard) (found bool) {
	for n := range contacts {
		c := &contacts[n]
		if c.Told {
			continue
		}
		var owners []string
		left := slices.DeleteFunc(slices.Clone(all[n].moves), func(m Move) bool {
			i := slices.IndexFunc(contacts, func(o Contact) bool { return o.Told && (o.Bit == m.Bit || o.rivals(m.Bit)) })
			if i >= 0 && contacts[i].Bit == m.Bit {
				owners = append(owners, fmt.Sprintf("%s moved with it, and is %s.", capital(m.Bit.Short()), contacts[i].Name))
			}
			return i >= 0
		})
		if len(left) == 0 || len(left) == len(all[n].moves) {
			continue
		}
		all[n].moves = left
		c.judge(all[n])
		c.Notes = append(c.Notes, owners...)
		found = found || c.Told
	}
	return found
}

// rivals reports whether a bit fits as well as the contact's own.
func (c Contact) rivals(b Bit) bool {
	return slices.ContainsFunc(c.Rivals, func(r Rival) bool { return r.Bit == b })
}
