package history

import (
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"strings"

	"meltwarden/daemon/history/cycles"
)

// A seal is a checksum over every row of an archive. SQLite notices a page that is out of
// order, and no letter or picture that came out otherwise from a worn-out stick; this does.
// Whoever opens the file to write breaks the seal: then it is a history like others.

// queryer is a database or a transaction.
type queryer interface {
	Query(query string, args ...any) (*sql.Rows, error)
	QueryRow(query string, args ...any) *sql.Row
}

// seal writes the checksum down.
func seal(tx *sql.Tx) error {
	digest, err := digestOf(tx)
	if err != nil {
		return err
	}
	_, err = tx.Exec(`INSERT INTO seal (digest) VALUES (?)`, digest)
	return err
}

// breakSeal takes it off a file that is going to be changed.
func breakSeal(db *sql.DB) error {
	var sealed bool
	if err := db.QueryRow(`SELECT EXISTS (SELECT 1 FROM seal)`).Scan(&sealed); err != nil || !sealed {
		return err
	}
	_, err := db.Exec(`DELETE FROM seal`)
	return err
}

// checkSeal compares what is in a file with its seal, if it has one.
func checkSeal(db *sql.DB) error {
	var sealed bool
	err := db.QueryRow(`SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE name = 'seal')`).Scan(&sealed)
	if err == nil && sealed {
		err = db.QueryRow(`SELECT EXISTS (SELECT 1 FROM seal)`).Scan(&sealed)
	}
	if err != nil || !sealed {
		return err
	}
	var want string
	if err := db.QueryRow(`SELECT digest FROM seal`).Scan(&want); err != nil {
		return err
	}
	if found, err := digestOf(db); err != nil || found != want {
		return cycles.ErrDamaged
	}
	return nil
}

// digestOf is SHA-256, in hexadecimal, over the names and the rows of every table.
func digestOf(from queryer) (string, error) {
	var tables []string
	rows, err := from.Query(`SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> 'seal' ORDER BY name`)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return "", err
		}
		tables = append(tables, name)
	}
	if err := rows.Err(); err != nil {
		return "", err
	}
	sum := sha256.New()
	for _, table := range tables {
		if err := addTable(sum, from, table); err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

func addTable(sum hash.Hash, from queryer, table string) error {
	addText(sum, 't', table)
	// The name is whatever the file says: one with a quote in it would end here, and go on
	// as a command of whoever made the file.
	rows, err := from.Query(`SELECT * FROM "` + strings.ReplaceAll(table, `"`, `""`) + `"`)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	cells, at := make([]any, len(columns)), make([]any, len(columns))
	for i := range cells {
		at[i] = &cells[i]
	}
	for rows.Next() {
		if err := rows.Scan(at...); err != nil {
			return err
		}
		for _, c := range cells {
			addValue(sum, c)
		}
	}
	return rows.Err()
}

// addValue puts a value with its kind and length, so that no two rows look the same.
func addValue(sum hash.Hash, v any) {
	switch v := v.(type) {
	case nil:
		sum.Write([]byte{'n'})
	case int64:
		sum.Write(binary.LittleEndian.AppendUint64([]byte{'i'}, uint64(v)))
	case float64:
		sum.Write(binary.LittleEndian.AppendUint64([]byte{'f'}, math.Float64bits(v)))
	case []byte:
		addText(sum, 'b', string(v))
	default:
		addText(sum, 's', fmt.Sprint(v))
	}
}

func addText(sum hash.Hash, kind byte, text string) {
	sum.Write(binary.LittleEndian.AppendUint64([]byte{kind}, uint64(len(text))))
	sum.Write([]byte(text))
}
