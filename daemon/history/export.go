package history

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history/cycles"
)

// ExportCSV writes a run as comma-separated values (RFC 4180): a head line, then a
// line a cycle. Temperatures are in degrees Celsius, times in seconds, duties from
// 0 to 1; what was not recorded is empty.
func (s *Store) ExportCSV(w io.Writer, run int64) error {
	settings, err := s.Settings(run)
	if err != nil {
		return err
	}
	batches, err := s.InPots(run)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	head := []string{"part", "cycle", "time_s", "wall", "heat", "ready"}
	for _, p := range settings.Pots {
		for _, column := range []string{"melt_c", "plate_c", "target_c", "duty", "state"} {
			head = append(head, p.Name+"_"+column)
		}
		if p.Probes != reading.BothProbes {
			head = append(head, p.Name+"_estimate_c", p.Name+"_estimate_within_c")
		}
		if p.Controller.Is() {
			head = append(head, p.Name+"_controller_told_c", p.Name+"_controller_setpoint_c", p.Name+"_controller_reads_c")
		}
	}
	for _, p := range settings.Pots {
		head = append(head, p.Name+"_batch")
	}
	if err := out.Write(append(head, "mould_c", "room_c", "marks")); err != nil {
		return err
	}
	err = s.Each(run, func(part Part, r *cycles.Record) error { return out.Write(row(part.ID, r, settings.Pots, batches)) })
	out.Flush()
	if err != nil {
		return err
	}
	return out.Error()
}

// Each calls f with every cycle of a run, in order, as Between does.
func (s *Store) Each(run int64, f func(part Part, r *cycles.Record) error) error {
	return s.Between(run, 0, 0, f)
}

func row(part int64, r *cycles.Record, pots []control.PotSettings, batches []int64) []string {
	k := r.Kept
	cells := []string{
		strconv.FormatInt(part, 10), strconv.FormatUint(k.Cycle, 10), figure(k.Time.Seconds()),
		r.At.UTC().Format(time.RFC3339Nano), k.Heat.String(), strconv.FormatBool(k.Ready),
	}
	for i := range k.Pots {
		p := &k.Pots[i]
		cells = append(cells, temperature(r.Input.Pots[i].Melt), temperature(r.Input.Pots[i].Plate),
			figure(p.TargetC), figure(p.Duty), p.State.String())
		if e := estimateOf(p, pots[i].Probes); e != nil {
			cells = append(cells, figure(float64(e.C)), figure(float64(e.WithinC)))
		}
		if c := controllerOf(r, i, &pots[i]); c != nil {
			cells = append(cells, figure(float64(c.ToldC)), figure(float64(c.SetpointC)), figure(float64(c.ReadsC)))
		}
	}
	for i := range pots {
		cells = append(cells, wholeNumber(batchIn(batches, i)))
	}
	return append(cells, temperature(r.Input.Mould), temperature(r.Input.Room), marks(r.Input.Commands, pots))
}

// batchIn is the batch in a pot, nil where none is kept.
func batchIn(batches []int64, pot int) *int64 {
	if pot >= len(batches) {
		return nil
	}
	return &batches[pot]
}

func wholeNumber(n *int64) string {
	if n == nil {
		return ""
	}
	return strconv.FormatInt(*n, 10)
}

func temperature(t reading.Temperature) string { return figure(float64(frames.Measured(t))) }

func figure(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// marks are what people said in a cycle, in words.
func marks(commands []control.Command, pots []control.PotSettings) string {
	text := ""
	for _, c := range commands {
		if text != "" {
			text += "; "
		}
		text += c.Kind.String()
		if c.Kind.NeedsPot() && c.Pot >= 0 && c.Pot < len(pots) {
			text += " " + pots[c.Pot].Name
		}
	}
	return text
}

// exported is a cycle as JSON.
type exported struct {
	Part  int64         `json:"part"`
	Cycle uint64        `json:"cycle"`
	TimeS float64       `json:"time_s"`
	Wall  time.Time     `json:"wall"`
	Heat  string        `json:"heat"`
	Ready bool          `json:"ready"`
	Pots  []exportedPot `json:"pots"`
	Mould frames.Figure `json:"mould_c"`
	Room  frames.Figure `json:"room_c"`
	Marks string        `json:"marks,omitempty"`
}

type exportedPot struct {
	Name    string        `json:"name"`
	Batch   *int64        `json:"batch"` // its number
	State   string        `json:"state"`
	MeltC   frames.Figure `json:"melt_c"`
	PlateC  frames.Figure `json:"plate_c"`
	TargetC frames.Figure `json:"target_c"`
	Duty    frames.Figure `json:"duty"`
	// Estimate is of the place without a probe, on pots that have one probe only.
	Estimate *exportedEstimate `json:"estimate,omitempty"`
	// Controller is on pots whose plates are held by controllers of their own.
	Controller *exportedController `json:"controller,omitempty"`
}

// exportedController is what a controller was told, said that it was told, and read itself.
type exportedController struct {
	ToldC     frames.Figure `json:"told_c"`
	SetpointC frames.Figure `json:"setpoint_c"`
	ReadsC    frames.Figure `json:"reads_c"`
}

func controllerOf(r *cycles.Record, pot int, s *control.PotSettings) *exportedController {
	if !s.Controller.Is() {
		return nil
	}
	in := &r.Input.Pots[pot]
	return &exportedController{frames.Figure(r.Kept.Pots[pot].ToldC), frames.Measured(in.Setpoint), frames.Measured(in.Own)}
}

// exportedEstimate is what was thought of a place, "melt" or "plate", and how far off it
// may have been to either side.
type exportedEstimate struct {
	Of      string        `json:"of"`
	C       frames.Figure `json:"c"`
	WithinC frames.Figure `json:"within_c"`
}

func estimateOf(p *cycles.Pot, probes reading.Probes) *exportedEstimate {
	of := "plate"
	switch probes {
	case reading.BothProbes:
		return nil
	case reading.PlateOnly:
		of = "melt"
	}
	c, within := frames.Estimated(p.Estimate)
	return &exportedEstimate{of, c, within}
}

// ExportJSON writes a run as JSON, one object a line and cycle, in the same units;
// what was not recorded is null.
func (s *Store) ExportJSON(w io.Writer, run int64) error {
	settings, err := s.Settings(run)
	if err != nil {
		return err
	}
	batches, err := s.InPots(run)
	if err != nil {
		return err
	}
	out := json.NewEncoder(w)
	return s.Each(run, func(part Part, r *cycles.Record) error {
		e := exported{
			Part: part.ID, Cycle: r.Kept.Cycle, TimeS: r.Kept.Time.Seconds(), Wall: r.At.UTC(), Heat: r.Kept.Heat.String(),
			Ready: r.Kept.Ready, Mould: frames.Measured(r.Input.Mould), Room: frames.Measured(r.Input.Room),
			Marks: marks(r.Input.Commands, settings.Pots),
		}
		for i := range r.Kept.Pots {
			p := &r.Kept.Pots[i]
			e.Pots = append(e.Pots, exportedPot{
				Name: settings.Pots[i].Name, Batch: batchIn(batches, i), State: p.State.String(), TargetC: frames.Figure(p.TargetC), Duty: frames.Figure(p.Duty),
				MeltC: frames.Measured(r.Input.Pots[i].Melt), PlateC: frames.Measured(r.Input.Pots[i].Plate),
				Estimate:   estimateOf(p, settings.Pots[i].Probes),
				Controller: controllerOf(r, i, &settings.Pots[i]),
			})
		}
		return out.Encode(e)
	})
}

// Backup writes a copy of the whole history to a new file, while it may be in use.
func (s *Store) Backup(path string) error {
	if err := s.connect(); err != nil {
		return err
	}
	write, err := s.writer()
	if err != nil {
		return err
	}
	if _, err = write.Exec(`VACUUM INTO ?`, path); err != nil { // the readers may not
		return fmt.Errorf("%w: see that its folder is there, may be written to, and has room", err)
	}
	return nil
}
