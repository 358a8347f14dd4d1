package history

// Relation is a table or a view of the history's file, and what it is for.
type Relation struct {
	Name string `json:"name"`
	// View is true of what is made for other tools to read; the others are as the program
	// needs them.
	View    bool     `json:"view"`
	About   string   `json:"about"`
	Columns []Column `json:"columns"`
}

// Column is one column of it.
type Column struct {
	Name  string `json:"name"`
	Unit  string `json:"unit,omitempty"` // "" for what has none
	About string `json:"about"`
}

// The units and forms that columns have.
const (
	celsius  = "°C"
	kelvins  = "K"
	seconds  = "s"
	minutes  = "min"
	epochMS  = "ms since 1970, UTC"
	benchMS  = "ms of bench time in its part"
	utc      = "ISO 8601, UTC"
	yesNo    = "0 or 1"
	jsonText = "JSON"
)

// Described is every table and view of the file, the views first, with all columns in
// their order. In a view NULL is what was not recorded.
func Described() []Relation { return append(describedViews(), describedTables()...) }

func describedViews() []Relation {
	run := Column{"run", "", "number of the run, as the command runs shows it"}
	number := Column{"shot_number", "", "from 1 in its run"}
	return []Relation{
		{"v_run", true, "one row a run", []Column{
			run,
			{"session", "", "runs of one evening share it"},
			{"recipe", "", "its name"},
			{"recipe_version", "", "from 1 among those of its name"},
			{"recipe_fingerprint", "", "stands for what the recipe says"},
			{"title", "", "recipe and bench"},
			{"began", utc, "its first cycle"},
			{"ended", utc, "its last cycle; NULL while it goes on"},
			{"took_s", seconds, "how long it was recorded, in bench time"},
			{"cycles", "", "control cycles that are kept"},
			{"state", "", "open (being recorded, or its program is gone and nobody has said so), finished, interrupted"},
			{"invented", yesNo, "a simulated bench"},
			{"shots", "", "that were not taken back"},
			{"clean_shots", "", "of them: called clean and nothing else"},
			{"spoiled_shots", "", "of them: with a fault, at demould or days later"},
			{"note", "", "as typed"},
			{"brought_from", "", "name of the bench, for a run brought from another history"},
			{"brought", utc, "when it was brought"},
			{"thinned", utc, "when most of its cycles were dropped; no replay since"},
		}},
		{"v_shot", true, "one row a shot, with the figures of its card", []Column{
			run, number,
			{"recipe", "", "its name"},
			{"recipe_version", "", "from 1 among those of its name"},
			{"invented", yesNo, "a simulated bench"},
			{"pushed", utc, "when"},
			{"at_s", seconds, "when, from the beginning of the run"},
			{"mould", "", "as typed"},
			{"note", "", "as typed"},
			{"taken_back", yesNo, "it was no shot; it counts nowhere"},
			{"clean", yesNo, "no fault was named; NULL where nobody has judged it"},
			{"spoiled", yesNo, "a fault was named, at demould or days later; NULL where nobody has judged it"},
			{"faults", "", "seen at demould, with commas between them"},
			{"faults_later", "", "seen at a re-inspection: these have other causes than heat"},
			{"spread_k", kelvins, "largest deviation of a pot from its own target less the smallest"},
			{"draw_to_push_s", seconds, "from the first draw to the push"},
			{"mould_c", celsius, "temperature of the mould"},
			{"room_c", celsius, "temperature of the room"},
			{"photos", "", "how many are attached"},
		}},
		{"v_shot_pot", true, "one row for each pot of a shot, at its draw where that was marked, at the push otherwise", []Column{
			run, number,
			{"pot", "", "from 1"},
			{"pot_name", "", "its name on the bench"},
			{"colour", "", "what was in it"},
			{"state", "", "holding, ready, lifted and so on"},
			{"melt_c", celsius, "temperature of the melt"},
			{"target_c", celsius, "its own injection temperature"},
			{"band_k", kelvins, "how far from it, either way, was still right"},
			{"deviation_k", kelvins, "melt less target"},
			{"out_of_band", yesNo, "further off than its band"},
			{"slope_k_per_min", "K/min", "how fast the melt was changing"},
			{"plate_c", celsius, "temperature of the plate"},
			{"held_min", minutes, "since it was cured"},
			{"since_stir_s", seconds, "since it was stirred"},
			{"draw_to_push_s", seconds, "from this pot's draw to the push"},
			{"run_dose_min", minutes, "heat dose of this run alone: equal minutes at 177 °C, an estimate; earlier heats are in potful"},
		}},
		{"v_verdict", true, "one row for each word about a shot", []Column{
			run, number,
			{"fault", "", "or clean"},
			{"colours", "", "one, or two that meet; NULL is the whole bait"},
			{"cavity", "", "as it is called; NULL is all of them"},
			{"day", "d", "days after the shot: 0 is at demould"},
			{"written", utc, "when it was written down"},
			{"taken_back", yesNo, "the shot was none"},
		}},
		{"v_event", true, "one row for all that happened", []Column{
			run,
			{"at_s", seconds, "when, from the beginning of the run"},
			{"happened", utc, "the same by the wall's clock"},
			{"kind", "", "stirred, drawn, alarm and so on"},
			{"pot", "", "from 1; NULL is the whole bench"},
			{"text", "", "as typed, or the alarm's title"},
			{"amount", "", "as typed"},
			{"temperature_c", celsius, "of a new set-point, or read by hand"},
			{"said_from", "", "the phone or other computer that it was said from; NULL is the bench's own computer, or its program"},
		}},
		{"v_recipe", true, "one row a recipe version", []Column{
			{"recipe", "", "its name"},
			{"version", "", "from 1 among those of its name"},
			{"fingerprint", "", "stands for what it says"},
			{"made_from_fingerprint", "", "the version before"},
			{"made_from_run", "", "the run it was promoted from"},
			{"kept_since", utc, "when it came into this history"},
			{"runs", "", "made with it"},
			{"as_typed", "", "the file"},
		}},
		{"v_potful", true, "one row for each pot of a run: which batch was in it", []Column{
			run,
			{"pot", "", "from 1"},
			{"batch", "", "number of the batch"},
			{"rest", yesNo, "it was the rest of an earlier one"},
			{"colour", "", "as typed"},
			{"base", "", "as typed"},
			{"lot", "", "as typed"},
			{"made", "", "how much of it was made, as typed"},
			{"note", "", "as typed"},
		}},
		{"v_photo", true, "one row a photo", []Column{
			run, number,
			{"photo", "", "its number in the file"},
			{"attached", utc, "when"},
			{"width_px", "px", ""},
			{"height_px", "px", ""},
			{"picture_bytes", "bytes", "its size"},
			{"picture_jpeg", "", "JPEG; colour can not be measured in it without a grey card"},
		}},
		{"v_part", true, "one row for each start of the program in a run", []Column{
			run,
			{"part", "", "its number in the file"},
			{"program", "", "version and processor"},
			{"began", utc, "its first cycle"},
			{"offset_s", seconds, "where it begins, from the beginning of the run"},
			{"took_s", seconds, "how long it is, in bench time"},
			{"cycles", "", "control cycles that are kept"},
		}},
	}
}

func describedTables() []Relation {
	return []Relation{
		{"recipe", false, "recipe versions; one never changes", []Column{
			{"fingerprint", "", "stands for what it says"},
			{"name", "", ""},
			{"source", "", "the file as typed"},
			{"parent", "", "the version it was made from"},
			{"run", "", "the run it was promoted from"},
			{"added_ms", epochMS, ""},
		}},
		{"session", false, "evenings at the bench", []Column{
			{"id", "", ""},
			{"began_ms", epochMS, ""},
			{"ended_ms", epochMS, ""},
		}},
		{"run", false, "runs, each with frozen copies of what it was made with", []Column{
			{"id", "", "the run's number"},
			{"session", "", ""},
			{"recipe", "", "its fingerprint"},
			{"title", "", "recipe and bench"},
			{"bench", "", "the bench file as typed"},
			{"settings", jsonText, "what the controller was told"},
			{"invented", yesNo, "a simulated bench"},
			{"began_ms", epochMS, ""},
			{"ended_ms", epochMS, "NULL where nobody saw the end"},
			{"state", "", "open, finished or interrupted"},
			{"note", "", "as typed"},
			{"source", "", "the recipe file as typed; empty where it is that of the version"},
			{"brought_ms", epochMS, "when it was brought from another history; 0: recorded here"},
			{"brought_from", "", "name of the bench that it was made on"},
			{"thinned_ms", epochMS, "when its cycles were thinned; 0: all are there"},
		}},
		{"part", false, "from one start of the program to its end", []Column{
			{"id", "", ""},
			{"run", "", ""},
			{"program", "", "version and processor, for replay"},
			{"began_ms", epochMS, ""},
			{"cycles", "", "that are kept"},
			{"bench_ms", benchMS, "at its last cycle"},
			{"last_ms", epochMS, "at its last cycle"},
			{"corrected", "", "what calibrations added to the readings, in words; empty: nothing"},
		}},
		{"block", false, "control cycles, packed; the commands export and review read them", []Column{
			{"part", "", ""},
			{"first", "", "number of its first cycle"},
			{"cycles", "", "how many"},
			{"data", "", "columns of differences, zstd, with a checksum"},
			{"bench_ms", benchMS, "at its first cycle"},
		}},
		{"event", false, "what happened", []Column{
			{"id", "", ""},
			{"run", "", ""},
			{"part", "", ""},
			{"cycle", "", "its number in the part"},
			{"bench_ms", benchMS, ""},
			{"wall_ms", epochMS, ""},
			{"kind", "", ""},
			{"pot", "", "from 1; 0 is the bench"},
			{"text", "", "as typed"},
			{"amount", "", "as typed"},
			{"c", celsius, "of a new set-point, or read by hand; says nothing of other kinds"},
			{"said_from", "", "the phone or other computer that it was said from; empty is the bench's own computer, or its program"},
			{"said_key", "", "the press that it came of, as who sent it calls it; empty where it has no name"},
			{"takes", "", "of a note that is taken back: the press that it came of, or last for the last one from the same place; empty in older runs: the last one"},
		}},
		{"shot", false, "shots", []Column{
			{"id", "", ""},
			{"run", "", ""},
			{"part", "", ""},
			{"number", "", "from 1 in its run"},
			{"bench_ms", benchMS, ""},
			{"wall_ms", epochMS, ""},
			{"mould", "", "as typed"},
			{"note", "", "as typed"},
			{"card", jsonText, "what was so at the shot; v_shot and v_shot_pot have it in columns"},
			{"withdrawn", yesNo, "taken back"},
		}},
		{"fault", false, "words about shots", []Column{
			{"shot", "", "shot.id"},
			{"fault", "", "or clean"},
			{"colours", jsonText, "one, or two that meet; none is the whole bait"},
			{"cavity", "", ""},
			{"day", "d", "days after the shot"},
			{"wall_ms", epochMS, "when it was written down"},
		}},
		{"photo", false, "photos of shots", []Column{
			{"id", "", ""},
			{"shot", "", "shot.id"},
			{"digest", "", "SHA-256 of the file as it was given"},
			{"wall_ms", epochMS, "when it was attached"},
			{"width", "px", ""},
			{"height", "px", ""},
			{"picture", "", "JPEG, encoded anew, so that nothing but the picture is in it"},
			{"small", "", "the same, for a list"},
		}},
		{"known", false, "what a run has found out about its pots", []Column{
			{"run", "", ""},
			{"pot", "", "its name on the bench"},
			{"digest", "", "stands for what measures and heats it"},
			{"wall_ms", epochMS, ""},
			{"anew", yesNo, "the run had not gone by what earlier ones had found"},
			{"figures", jsonText, ""},
		}},
		{"batch", false, "one potful of plastisol through all its heats, as typed", []Column{
			{"id", "", ""},
			{"began_ms", epochMS, "when the run began that it was made for"},
			{"made_in", "", "the pot that it was made in, from 1"},
			{"colour", "", ""},
			{"base", "", ""},
			{"lot", "", ""},
			{"made", "", "how much of it was made"},
			{"note", "", ""},
		}},
		{"potful", false, "which batch is in which pot in which run", []Column{
			{"run", "", ""},
			{"pot", "", "from 1"},
			{"own", "", "the new batch that it began as"},
			{"batch", "", "the one that the maker says it is"},
			{"kj", "kJ/mol", "activation energy of the doses on the run's cards"},
			{"wall_ms", epochMS, "when its heat was kept last"},
			{"heat", jsonText, "what it had in this run: seconds at each degree"},
		}},
		{"attempt", false, "changes to recipes that were accepted, to see whether they help; they never leave this history but in a backup", []Column{
			{"id", "", ""},
			{"recipe", "", "fingerprint of the version that came of it"},
			{"before", "", "fingerprint of the version that was changed"},
			{"run", "", "the run and the shot that led to it"},
			{"shot", "", "from 1 in its run"},
			{"fault", "", ""},
			{"cause", "", "the hypothesis it goes by, in words"},
			{"kind", "", "what is changed"},
			{"colour", "", "empty: the whole recipe"},
			{"change", "", "in words"},
			{"reason", "", "in words and figures, as they were then"},
			{"accepted_ms", epochMS, ""},
			{"ended_ms", epochMS, "by a person; NULL where nobody has"},
			{"ended_why", "", "as typed"},
		}},
		{"seal", false, "a checksum, in an archive that nobody has written to since", []Column{
			{"digest", "", "SHA-256 over every row of the other tables"},
		}},
		{"commission", false, "the proof that heaters may be switched on, every state of it; it never leaves this history but in a backup", []Column{
			{"id", "", ""},
			{"wall_ms", epochMS, ""},
			{"program", "", "version"},
			{"digest", "", "of the hardware in the bench file"},
			{"record", jsonText, ""},
		}},
		{"calibration", false, "points, corrections and what became of them, of every probe; it never leaves this history but in a backup", []Column{
			{"id", "", ""},
			{"wall_ms", epochMS, ""},
			{"program", "", "version"},
			{"probe", "", "by role and pot"},
			{"digest", "", "stands for its channel and device"},
			{"kind", "", "point, in force, taken back, or changed: from there on it is another probe"},
			{"record", jsonText, ""},
		}},
		{"relay", false, "how often mechanical relays before heaters were told to close; it never leaves this history but in a backup", []Column{
			{"bench", "", "its name"},
			{"place", "", "its coil: device and address"},
			{"fitted", "", "the day it was fitted, as typed; empty: not said"},
			{"pot", "", "its name on the bench"},
			{"operations", "", "counted, a closing and the opening after it as one"},
			{"since_ms", epochMS, "when counting began"},
			{"wall_ms", epochMS, "when it closed last"},
		}},
	}
}
