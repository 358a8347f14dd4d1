package plan

import (
	"encoding/json"
	"fmt"

	"meltwarden/control"
)

// Rehearser remembers what it has rehearsed: a second of work each. The zero value is
// ready. It is not safe for use by several goroutines.
type Rehearser struct{ done map[string]Course }

// mostDone is how many rehearsals are remembered (E): those of some evenings' plans.
const mostDone = 64

// Rehearse is the function Rehearse, once for the same settings and room.
func (r *Rehearser) Rehearse(set control.Settings, roomC float64) Course {
	text, err := json.Marshal(set)
	if err != nil {
		return Rehearse(set, roomC)
	}
	key := fmt.Sprintf("%.1f %s", roomC, text)
	if c, is := r.done[key]; is {
		return c
	}
	if r.done == nil || len(r.done) >= mostDone {
		r.done = map[string]Course{}
	}
	c := Rehearse(set, roomC)
	r.done[key] = c
	return c
}
