package loop

import (
	"time"

	"meltwarden/control/model"
)

// Away is what the readings say of the pot's being on its plate, and how long ago it may
// have left it at most.
func (l *Loop) Away() (model.Away, time.Duration) { return l.model.Away() }
