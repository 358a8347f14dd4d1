package history

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"meltwarden/daemon/history/cycles"
)

// An archive is a history with some runs of another one in it, and everything of them:
// a SQLite file of the same layout. So the same checks find damage in it, the same steps
// bring an old one up to date, the same views read it, and a backup can be brought in as
// well. Its numbers are in the order of its runs and say nothing of where they came
// from: the same runs give the same archive from whichever history.
//
// What is of the bench and not of a run stays at home: the proof that its heaters may be
// switched on, the calibration of its probes, the wear of its relays, and the attempts,
// which are judged by the shots of many runs.

// ErrNotBrought is wrapped by the error about a file that can not be brought in.
var ErrNotBrought = errors.New("nothing was brought in")

// Brought is what became of one run of an archive.
type Brought struct {
	// There is its number in the file, Here the one that it has in this history.
	There int64  `json:"there"`
	Here  int64  `json:"here"`
	Title string `json:"title"`
	// Before is true when it was here already; then it was left as it was.
	Before bool `json:"before"`
	// Differs is true when more or something else has been written down of it there since.
	Differs bool `json:"differs"`
}

// copied are the tables that hang on runs, in an order in which none comes before what
// it refers to. Each of their columns that refers to another is given its map.
var copied = []struct {
	table string
	maps  map[string]string // column: the table it refers to
}{
	{"part", map[string]string{"id": "part", "run": "run"}},
	{"block", map[string]string{"part": "part"}},
	{"event", map[string]string{"run": "run", "part": "part"}},
	{"shot", map[string]string{"id": "shot", "run": "run", "part": "part"}},
	{"fault", map[string]string{"shot": "shot"}},
	{"photo", map[string]string{"shot": "shot"}},
	{"known", map[string]string{"run": "run"}},
	{"potful", map[string]string{"run": "run", "own": "batch", "batch": "batch"}},
}

// anew are columns of a run that are not copied: how it stands for whoever has it next.
var anew = map[string]string{
	"state": "CASE t.state WHEN 'open' THEN 'interrupted' ELSE t.state END", "brought_ms": "0", "brought_from": "''",
}

// Archive writes runs to a new file, everything of them; without a number all runs. A
// run that is being recorded is no whole one: by its number it is refused, and among all
// it is left out.
func (s *Store) Archive(path string, runs ...int64) (written int, err error) {
	chosen, err := s.whole(runs)
	if err != nil {
		return 0, err
	}
	if _, err := os.Stat(path); err == nil {
		return 0, fmt.Errorf("%s: exists already; choose a new name", path)
	}
	beside := path + ".part"
	defer os.Remove(beside) // where it failed
	if err := s.archive(beside, chosen); err != nil {
		return 0, fmt.Errorf("archive %s: %w", path, err)
	}
	return len(chosen), os.Rename(beside, path)
}

// whole are the numbers of the runs that are wanted and over.
func (s *Store) whole(wanted []int64) (numbers []int64, err error) {
	all, err := s.Runs(Filter{})
	if err != nil {
		return nil, err
	}
	for _, r := range all {
		switch named := slices.Contains(wanted, r.ID); {
		case named && r.State == Recording:
			return nil, fmt.Errorf("run %d: it is being recorded; archive it when it is over", r.ID)
		case named || len(wanted) == 0 && r.State != Recording:
			numbers = append(numbers, r.ID)
		}
	}
	for _, n := range wanted {
		if !slices.Contains(numbers, n) {
			return nil, fmt.Errorf("run %d: %w", n, ErrNoRun)
		}
	}
	if len(numbers) == 0 {
		return nil, errors.New("there is no run that is over")
	}
	return numbers, nil
}

func (s *Store) archive(path string, runs []int64) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	// One file, without a log beside it.
	db, err := sql.Open("sqlite", address(path)+"?_pragma=journal_mode(DELETE)&_pragma=foreign_keys(1)&_txlock=immediate")
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	fill := func() error {
		if err := migrate(db); err != nil {
			return err
		}
		return beside(db, s.path, func() error {
			return transact(db, func(tx *sql.Tx) error {
				if err := want(tx, runs); err != nil {
					return err
				}
				if err := transfer(tx); err != nil {
					return err
				}
				return seal(tx)
			})
		})
	}
	return errors.Join(fill(), db.Close())
}

// beside does something while another file is attached as "there", to be read only.
func beside(db *sql.DB, path string, do func() error) error {
	var err error
	for _, way := range []string{"?mode=ro", "?mode=ro&immutable=1"} { // as openReader does
		if _, err = db.Exec(`ATTACH ? AS there`, address(path)+way); err == nil {
			if _, err = db.Exec(`SELECT count(*) FROM there.run`); err == nil {
				break
			}
			_, _ = db.Exec(`DETACH there`) // it could not be read either
		}
	}
	if err != nil {
		return err
	}
	err = do()
	_, detached := db.Exec(`DETACH there`)
	return errors.Join(err, detached)
}

// want names the runs of the other file that are to come over.
func want(tx *sql.Tx, runs []int64) error {
	if _, err := tx.Exec(`DROP TABLE IF EXISTS temp.wanted; CREATE TEMP TABLE wanted (id INTEGER PRIMARY KEY)`); err != nil {
		return err
	}
	for _, n := range runs {
		if _, err := tx.Exec(`INSERT INTO temp.wanted VALUES (?)`, n); err != nil {
			return err
		}
	}
	return nil
}

// transfer copies the wanted runs of the other file, with new numbers, the oldest first.
func transfer(tx *sql.Tx) error {
	for _, step := range []string{
		// Sessions are the same when they began in the same millisecond.
		`DROP TABLE IF EXISTS temp.new_session`,
		`CREATE TEMP TABLE new_session AS
			SELECT s.id AS old, coalesce((SELECT min(id) FROM main.session AS m WHERE m.began_ms = s.began_ms),
				(SELECT coalesce(max(id), 0) FROM main.session) + row_number() OVER (ORDER BY s.began_ms, s.id)) AS new
			FROM there.session AS s WHERE s.id IN (SELECT session FROM there.run WHERE id IN temp.wanted)`,
		`INSERT INTO main.session (id, began_ms, ended_ms)
			SELECT n.new, s.began_ms, s.ended_ms FROM temp.new_session AS n JOIN there.session AS s ON s.id = n.old WHERE true ORDER BY n.new
			ON CONFLICT (id) DO NOTHING`,
		`DROP TABLE IF EXISTS temp.new_run`,
		`CREATE TEMP TABLE new_run AS
			SELECT id AS old, (SELECT coalesce(max(id), 0) FROM main.run) + row_number() OVER (ORDER BY began_ms, recipe, title, bench, settings) AS new
			FROM there.run WHERE id IN temp.wanted`,
		// A batch is one that is here already when it was made for the same pot and run.
		`DROP TABLE IF EXISTS temp.new_batch`,
		`CREATE TEMP TABLE new_batch AS
			WITH used AS (SELECT b.id, b.began_ms, b.made_in, min(n.new * 1000 + p.pot * 2 + (p.own <> b.id)) AS turn FROM there.batch AS b
				JOIN there.potful AS p ON b.id IN (p.own, p.batch) JOIN temp.new_run AS n ON n.old = p.run GROUP BY b.id)
			SELECT used.id AS old, coalesce((SELECT min(id) FROM main.batch AS m WHERE m.began_ms = used.began_ms AND m.made_in = used.made_in),
				(SELECT coalesce(max(id), 0) FROM main.batch) + row_number() OVER (ORDER BY turn)) AS new
			FROM used`,
		`INSERT INTO main.batch (id, began_ms, made_in, colour, base, lot, made, note)
			SELECT n.new, b.began_ms, b.made_in, b.colour, b.base, b.lot, b.made, b.note FROM temp.new_batch AS n JOIN there.batch AS b ON b.id = n.old
			WHERE true ORDER BY n.new ON CONFLICT (id) DO NOTHING`,
		// A version comes with those that it was made from.
		`INSERT INTO main.recipe (fingerprint, name, source, parent, run, added_ms)
			WITH RECURSIVE used (fingerprint) AS (
				SELECT recipe FROM there.run WHERE id IN temp.wanted
				UNION SELECT r.parent FROM there.recipe AS r JOIN used USING (fingerprint) WHERE r.parent IS NOT NULL)
			SELECT fingerprint, name, source, parent, (SELECT new FROM temp.new_run WHERE old = recipe.run), added_ms
			FROM there.recipe WHERE fingerprint IN used ORDER BY name, added_ms, fingerprint
			ON CONFLICT (fingerprint) DO NOTHING`,
	} {
		if _, err := tx.Exec(step); err != nil {
			return err
		}
	}
	if err := copyRows(tx, "run", map[string]string{"id": "run", "session": "session"}); err != nil {
		return err
	}
	for _, c := range copied {
		if err := copyRows(tx, c.table, c.maps); err != nil {
			return fmt.Errorf("%s: %w", c.table, err)
		}
	}
	return nil
}

// copyRows copies the rows of a table whose references have all been mapped. A row that
// has its own number in the maps is given a new one, for others to refer to.
func copyRows(tx *sql.Tx, table string, maps map[string]string) error {
	columns, err := columnsOf(tx, table)
	if err != nil {
		return err
	}
	own := maps["id"] == table && table != "run"
	var to, from, joins, order []string
	for _, c := range columns {
		refers, mapped := maps[c]
		switch {
		case c == "id" && !mapped:
			continue // nothing refers to it: it gets the next
		case mapped:
			from = append(from, "new_"+c+".new")
		case table == "run" && anew[c] != "":
			from = append(from, anew[c])
		default:
			from = append(from, "t."+c)
		}
		to = append(to, c)
		if mapped {
			joins = append(joins, fmt.Sprintf("JOIN temp.new_%s AS new_%s ON new_%[2]s.old = t.%[2]s", refers, c))
			order = append(order, "new_"+c+".new")
		}
	}
	if own {
		if err := number(tx, table, maps); err != nil {
			return err
		}
	}
	if slices.Contains(columns, "id") && maps["id"] == "" {
		order = append(order, "t.id")
	}
	_, err = tx.Exec(fmt.Sprintf("INSERT INTO main.%[1]s (%[2]s) SELECT %[3]s FROM there.%[1]s AS t %[4]s ORDER BY %[5]s",
		table, strings.Join(to, ", "), strings.Join(from, ", "), strings.Join(joins, " "), strings.Join(order, ", ")))
	return err
}

// number maps the rows of a table that belong to wanted runs to new numbers.
func number(tx *sql.Tx, table string, maps map[string]string) error {
	if _, err := tx.Exec("DROP TABLE IF EXISTS temp.new_" + table); err != nil {
		return err
	}
	_, err := tx.Exec(fmt.Sprintf(`CREATE TEMP TABLE new_%s AS
		SELECT t.id AS old, (SELECT coalesce(max(id), 0) FROM main.%[1]s) + row_number() OVER (ORDER BY new_run.new, t.id) AS new
		FROM there.%[1]s AS t JOIN temp.new_run AS new_run ON new_run.old = t.run`, table))
	return err
}

// columnsOf are the names of a table's columns.
func columnsOf(tx *sql.Tx, table string) (names []string, err error) {
	rows, err := tx.Query(`SELECT name FROM pragma_table_info(?)`, table)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

// Import brings the runs of an archive in, or of any other history, as runs that were
// made elsewhere: they are shown and counted like others, and nothing that heats goes by
// them. A run that is here already stays as it is: it is known by what it began with. It
// is all or nothing; an error about the file wraps ErrNotBrought.
func (s *Store) Import(path string, at time.Time) (runs []Brought, err error) {
	if err := s.connect(); err != nil {
		return nil, err
	}
	if err := s.mayWait(path); err != nil {
		return nil, err
	}
	ready, done, err := s.madeReady(path)
	if err != nil {
		return nil, err
	}
	defer done()
	write, err := s.writer()
	if err != nil {
		return nil, err
	}
	err = beside(write, ready, func() error {
		return transact(write, func(tx *sql.Tx) error {
			runs, err = bring(tx, at)
			return err
		})
	})
	if err != nil {
		return nil, unreadable(s.path, err)
	}
	return runs, nil
}

// mostBeside is the largest file, in bytes, that is brought in while a run is recorded:
// all of it is one transaction, and the recorder waits for it (E: seconds on a small
// computer; it holds ten minutes).
const mostBeside = 64 << 20

func (s *Store) mayWait(path string) error {
	info, err := os.Stat(path)
	if err == nil && info.Size() > mostBeside && (s.live.Load() != 0 || !s.records && s.recorded()) {
		return fmt.Errorf("%s: larger than %d MB, and a run is being recorded; %w: end the program that records first", path, mostBeside>>20, ErrNotBrought)
	}
	return nil // one that is not there is told of later
}

// madeReady looks the file over, and returns one of the present layout with the same
// content: itself, or a copy that is gone when done is called.
func (s *Store) madeReady(path string) (ready string, done func(), err error) {
	done = func() {}
	version, err := lookOver(path)
	if err != nil || version == len(migrations) {
		return path, done, err
	}
	folder, done, err := s.Workshop()
	if err != nil {
		return "", func() {}, err
	}
	ready = filepath.Join(folder, FileName)
	err = copyOf(path, ready)
	if err == nil {
		err = withWriter(ready, migrate)
	}
	if err != nil {
		done()
		return "", func() {}, fmt.Errorf("%s: made by an older program (layout %d), and can not be brought up to date (%w); %w", path, version, err, ErrNotBrought)
	}
	return ready, done, nil
}

// copyOf copies a history that is only read.
func copyOf(path, to string) error {
	db, err := sql.Open("sqlite", address(path)+"?mode=ro")
	if err != nil {
		return err
	}
	_, err = db.Exec(`VACUUM INTO ?`, to)
	return errors.Join(err, db.Close())
}

// lookOver reads all of the file, and returns its layout.
func lookOver(path string) (version int, err error) {
	if _, err := os.Stat(path); err != nil {
		return none, fmt.Errorf("%w; %w: name a file that export --as archive or backup has written", err, ErrNotBrought)
	}
	db, err := openReader(path)
	if err != nil {
		return none, spoiltFile(path, err)
	}
	defer db.Close()
	application, version, _, err := identity(db)
	switch {
	case err != nil:
		return none, spoiltFile(path, err)
	case application != applicationID:
		return none, fmt.Errorf("%s: not an archive of this program; %w: name a file that export --as archive or backup has written", path, ErrNotBrought)
	case version > len(migrations):
		return none, fmt.Errorf("%s: made by a newer program (layout %d, this one knows %d); %w: bring it in with that program", path, version, len(migrations), ErrNotBrought)
	}
	if err := errors.Join(check(db, path, "integrity_check"), checkReferences(db), checkSeal(db), checkBlocks(db)); err != nil {
		return none, spoiltFile(path, err)
	}
	return version, nil
}

func spoiltFile(path string, why error) error {
	reason := "can not be read: " + why.Error()
	if code := sqliteCode(why); code != 0 || errors.Is(why, ErrRefused) || errors.Is(why, cycles.ErrDamaged) {
		reason = "damaged, cut short, or no archive at all"
	}
	return fmt.Errorf("%s: %s; %w: copy it again from where it was written, or write it again", path, reason, ErrNotBrought)
}

// checkReferences looks for rows that refer to nothing, and for cards and settings that
// nobody could read.
func checkReferences(db *sql.DB) error {
	var broken int
	err := db.QueryRow(`SELECT (SELECT count(*) FROM pragma_foreign_key_check)
		+ (SELECT count(*) FROM run WHERE NOT json_valid(settings)) + (SELECT count(*) FROM shot WHERE NOT json_valid(card))`).Scan(&broken)
	if err == nil && broken > 0 {
		err = cycles.ErrDamaged
	}
	return err
}

// checkBlocks unpacks every block: SQLite knows its own pages, and not what is in them.
// Whoever reads a run later takes for granted that every cycle has all its pots.
func checkBlocks(db *sql.DB) error {
	rows, err := db.Query(`SELECT data, coalesce(json_array_length(settings, '$.Pots'), 0)
		FROM block JOIN part ON part.id = block.part JOIN run ON run.id = part.run`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var reader cycles.Reader
	var data sql.RawBytes
	var pots int
	for rows.Next() {
		if err := rows.Scan(&data, &pots); err != nil {
			return err
		}
		err := reader.Each(data, func(r *cycles.Record) error {
			if len(r.Kept.Pots) != pots {
				return cycles.ErrDamaged
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return rows.Err()
}

// bring takes over the runs of the file that are not here yet.
func bring(tx *sql.Tx, at time.Time) ([]Brought, error) {
	runs, err := meet(tx)
	if err != nil {
		return nil, err
	}
	var fresh []int64
	for i := range runs {
		r := &runs[i]
		if !r.Before {
			fresh = append(fresh, r.There)
		} else if err := compare(tx, r); err != nil {
			return nil, err
		}
	}
	if err := want(tx, fresh); err != nil {
		return nil, err
	}
	if err := transfer(tx); err != nil {
		return nil, err
	}
	for i := range runs {
		if r := &runs[i]; !r.Before {
			if err := mark(tx, r, at); err != nil {
				return nil, err
			}
		}
	}
	slices.SortFunc(runs, func(a, b Brought) int { return cmp.Compare(a.Here, b.Here) })
	return runs, nil
}

// meet lists the runs of the file, with those that are here already: that began in the
// same millisecond with the same recipe, bench and settings.
func meet(tx *sql.Tx) (runs []Brought, err error) {
	rows, err := tx.Query(`SELECT t.id, t.title, coalesce(min(m.id), 0) FROM there.run AS t LEFT JOIN main.run AS m
		ON m.began_ms = t.began_ms AND m.recipe = t.recipe AND m.bench = t.bench AND m.settings = t.settings GROUP BY t.id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r Brought
		if err := rows.Scan(&r.There, &r.Title, &r.Here); err != nil {
			return nil, err
		}
		r.Before = r.Here != 0
		runs = append(runs, r)
	}
	return runs, rows.Err()
}

// compare finds out whether a run that is in both files has come to differ: in how much
// was recorded, or in what people have said of it.
func compare(tx *sql.Tx, r *Brought) error {
	var there, here string
	for file, x := range map[string]struct {
		run int64
		to  *string
	}{"there": {r.There, &there}, "main": {r.Here, &here}} {
		err := tx.QueryRow(fmt.Sprintf(`SELECT json_array(run.note, run.thinned_ms > 0,
			(SELECT json_group_array(cycles) FROM (SELECT cycles FROM %[1]s.part WHERE part.run = run.id ORDER BY id)),
			(SELECT json_group_array(json_array(mould, note, withdrawn)) FROM (SELECT * FROM %[1]s.shot WHERE shot.run = run.id ORDER BY number)),
			(SELECT json_group_array(json_array(number, fault, colours, cavity, day)) FROM (SELECT * FROM %[1]s.fault JOIN %[1]s.shot ON shot.id = fault.shot
				WHERE shot.run = run.id ORDER BY number, fault, colours, cavity, day)),
			(SELECT json_group_array(json_array(pot, own = batch)) FROM (SELECT * FROM %[1]s.potful WHERE potful.run = run.id ORDER BY pot)),
			(SELECT json_group_array(json_array(number, digest)) FROM (SELECT * FROM %[1]s.photo JOIN %[1]s.shot ON shot.id = photo.shot
				WHERE shot.run = run.id ORDER BY number, digest))) FROM %[1]s.run WHERE run.id = ?`, file), x.run).Scan(x.to)
		if err != nil {
			return err
		}
	}
	r.Differs = there != here
	return nil
}

// mark says of a run that has been brought where it came from.
func mark(tx *sql.Tx, r *Brought, at time.Time) error {
	var bench string
	err := tx.QueryRow(`SELECT n.new, run.bench FROM temp.new_run AS n JOIN main.run ON run.id = n.new WHERE n.old = ?`, r.There).Scan(&r.Here, &bench)
	if err != nil {
		return err
	}
	_, err = tx.Exec(`UPDATE main.run SET brought_ms = ?, brought_from = ? WHERE id = ?`, ms(at), benchName(bench), r.Here)
	return err
}

// benchName is the name that a bench file gives its bench; "" where it has none.
func benchName(file string) string {
	var named struct{ Name string }
	if yaml.Unmarshal([]byte(file), &named) != nil {
		return ""
	}
	return named.Name
}
