package api

import (
	"net/http"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/wear"
)

// relayWear is how much of the life of the mechanical relays before heaters is used.
type relayWear struct {
	// Relays are those that the bench file says wear, in the order of its pots.
	Relays []wear.Standing `json:"relays"`
	// Remind says in a sentence which of them should be changed; "" for none.
	Remind string `json:"remind"`
	// Counted says what is counted, and what is not.
	Counted string `json:"counted"`
}

// relayWear is what is known of the relays; none where nobody keeps anything.
func (s *server) relayWear() (relayWear, error) {
	w := relayWear{Relays: []wear.Standing{}, Counted: wear.Counted}
	if s.Bench == nil || s.History == nil {
		return w, nil
	}
	kept, err := s.History.Relays()
	if err != nil {
		return w, err
	}
	w.Relays = wear.Stand(kept, s.Bench)
	w.Remind = wear.Remind(w.Relays)
	return w, nil
}

func (s *server) relays(w http.ResponseWriter, _ *http.Request) {
	all, err := s.relayWear()
	if err != nil {
		pastProblem(w, err)
		return
	}
	writeJSON(w, http.StatusOK, all)
}

// relayOperations describes what tells about relays.
func relayOperations() []describe.Operation {
	return []describe.Operation{{
		Route: "GET /api/v1/relays", Group: groupHealth, Does: "How much of the life of the mechanical relays before heaters is used",
		More:    wear.Counted + " Of a relay of which the bench file does not say that it wears nothing is counted.",
		Answers: []describe.Answer{{Status: 200, Body: relayWear{}, Says: "The relays"}}, Problems: []*describe.Kind{notReadable},
	}}
}
