package guard

import "time"

// Grades as in the table.
const (
	reversedFallC  = 5.0  // E: noise and a cold addition to a cold pot stay far below it
	reversedPlateC = 15.0 // E: the plate has risen that much meanwhile
	belowRoomC     = 12.0 // E: where that is not seen, no addition is as cold
)

// reversed watches the first heating from cold for a reading that goes the wrong
// way: a thermocouple whose leads are swapped falls as it warms, below the
// temperature of the room, where one that hangs in the air would stay.
type reversed struct {
	watching    bool
	unheated    time.Duration
	melt, plate float64 // when the heater came on
}

// look takes in one cycle and reports which of the two readings goes the wrong way.
func (r *reversed) look(s *PotSight, melt, plate *trend, elapsed time.Duration) (meltWrong, plateWrong bool) {
	if r.unheated += elapsed; s.Duty >= realDuty || s.Duty > 0 && !s.Probes.HasPlate() {
		r.unheated = 0
	}
	cold := melt.c < TouchC && (plate.c < TouchC || r.watching) // what is not read counts as zero
	seen := (melt.seen || !s.Probes.HasMelt()) && (plate.seen || !s.Probes.HasPlate())
	if r.unheated > followUnheated || !seen || !cold {
		r.watching = false
		return false, false
	}
	if !r.watching {
		*r = reversed{watching: true, melt: melt.c, plate: plate.c}
	}
	meltFell, plateFell := melt.c <= r.melt-reversedFallC, plate.c <= r.plate-reversedFallC
	warmed := plate.c >= r.plate+reversedPlateC || !s.Probes.HasPlate() && melt.c < belowRoomC
	return meltFell && warmed, plateFell && !meltFell
}
