package history

import (
	"database/sql"
	"encoding/json"
)

// RunsOn lists the runs on a bench, the newest first: with the same bench file as typed, or
// such as have found out something about each of its pots, by the digests that stand for
// what measures and heats them. What is being recorded is not among them.
func (s *Store) RunsOn(bench string, digests []string) (runs []int64, err error) {
	text, err := json.Marshal(digests)
	if err != nil {
		return nil, err
	}
	err = s.each(func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		runs = append(runs, id)
		return err
	}, `SELECT id FROM run WHERE state <> 'open' AND (bench = ?1
			OR (SELECT count(*) FROM known WHERE known.run = run.id AND digest IN (SELECT value FROM json_each(?2))) = ?3)
		ORDER BY began_ms DESC, id DESC`, bench, string(text), len(digests))
	return runs, err
}
