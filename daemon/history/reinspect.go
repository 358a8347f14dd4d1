package history

import (
	"database/sql"
	"time"

	"meltwarden/daemon/shot"
)

// A bait is worth another look from the first of these on, and nobody is reminded of it
// after the second (E: colour moves over days).
const (
	reinspectFrom  = 3
	reinspectUntil = 30
)

// Reinspection is a bait that was clean at demould and that nobody has looked at since.
type Reinspection struct {
	Run    int64     `json:"run"`
	Shot   int       `json:"shot"`
	Pushed time.Time `json:"pushed"`
	// Day is how many days ago that was.
	Day int `json:"day"`
}

// Reinspect returns the day of a shot's re-inspection if it is worth one now, or zero.
func (s Shot) Reinspect(now time.Time) int {
	day := int(now.Sub(s.Wall) / (24 * time.Hour))
	if s.Withdrawn || day < reinspectFrom || day > reinspectUntil || len(s.Verdicts) != 1 {
		return 0
	}
	if v := s.Verdicts[0]; v.Fault != shot.Clean || v.Day != 0 {
		return 0
	}
	return day
}

// Reinspections lists the baits that are worth another look, the newest first, at most so
// many.
func (s *Store) Reinspections(now time.Time, most int) ([]Reinspection, error) {
	var all []Reinspection
	err := s.each(func(rows *sql.Rows) error {
		var r Reinspection
		var wall int64
		err := rows.Scan(&r.Run, &r.Shot, &wall)
		r.Pushed = time.UnixMilli(wall)
		r.Day = int(now.Sub(r.Pushed) / (24 * time.Hour))
		all = append(all, r)
		return err
	}, `SELECT run, number, wall_ms FROM shot WHERE wall_ms > ? AND wall_ms <= ? AND NOT withdrawn
		AND (SELECT count(*) FROM fault WHERE fault.shot = shot.id) = 1
		AND EXISTS (SELECT 1 FROM fault WHERE fault.shot = shot.id AND fault = 'clean' AND day = 0)
		ORDER BY wall_ms DESC, run DESC, number DESC LIMIT ?`, ms(now.Add(-(reinspectUntil+1)*24*time.Hour)), ms(now.Add(-reinspectFrom*24*time.Hour)), most)
	return all, err
}
