package history

import (
	"database/sql"
	"fmt"
	"time"
)

// Calibration is one thing that was found out about a probe's error, or done about it.
// Nothing of it is ever changed: what counts is told by the order.
type Calibration struct {
	At      time.Time
	Program string // version
	Probe   string // by role and pot
	// Digest stands for the probe's channel and device.
	Digest string
	Kind   CalibrationKind
	Record string // JSON
}

// CalibrationKind is what a Calibration is.
type CalibrationKind string

// The kinds.
const (
	CalibrationPoint     CalibrationKind = "point"      // what the probe showed in something whose temperature is known
	CalibrationInForce   CalibrationKind = "in force"   // a correction, from here on
	CalibrationTakenBack CalibrationKind = "taken back" // no correction from here on
	ProbeChanged         CalibrationKind = "changed"    // nothing from before is of this probe
)

// KeepCalibration adds to what is on record of probes. When it returns without an error
// all of it is on the disk.
func (s *Store) KeepCalibration(all ...Calibration) error {
	err := s.do(func(tx *sql.Tx) error {
		for _, c := range all {
			if _, err := insert(tx, `INSERT INTO calibration (wall_ms, program, probe, digest, kind, record) VALUES (?, ?, ?, ?, ?, ?)`,
				ms(c.At), c.Program, c.Probe, c.Digest, string(c.Kind), c.Record); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("history %s: the calibration was not saved: %w", s.path, err)
	}
	return nil
}

// Calibrations lists all that is on record of probes, in the order in which it was kept.
func (s *Store) Calibrations() (all []Calibration, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var c Calibration
		var at int64
		if err := rows.Scan(&at, &c.Program, &c.Probe, &c.Digest, &c.Kind, &c.Record); err != nil {
			return err
		}
		c.At = time.UnixMilli(at)
		all = append(all, c)
		return nil
	}, `SELECT wall_ms, program, probe, digest, kind, record FROM calibration ORDER BY id`)
	return all, err
}

// BenchFiles lists the bench files that runs were made with here, each once, as typed but for
// the secrets in them. None is of a run that was brought from elsewhere.
func (s *Store) BenchFiles() (files []string, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var file string
		err := rows.Scan(&file)
		files = append(files, file)
		return err
	}, `SELECT DISTINCT bench FROM run WHERE brought_ms = 0`)
	return files, err
}
