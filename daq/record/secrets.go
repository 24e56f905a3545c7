package record

import (
	"database/sql"
	"fmt"

	"flowrigd/config"
)

// strikeSecrets takes the secrets out of configurations that an older flowrigd
// recorded with them. They keep their names, by which rows and inputs know
// them, and are the only ones whose name is not the digest of the text.
func strikeSecrets(db *sql.DB) error {
	texts, err := texts(db)
	if err != nil {
		return err
	}
	changed := false
	for sha, text := range texts {
		clean := string(config.Redact([]byte(text)))
		if clean == text {
			continue
		}
		if !changed { // what was there is overwritten and not only let go
			if _, err := db.Exec(`PRAGMA secure_delete = ON`); err != nil {
				return err
			}
		}
		changed = true
		if _, err := db.Exec(`UPDATE configuration SET text = ? WHERE sha256 = ?`, clean, sha); err != nil {
			return fmt.Errorf("configuration %s: %w", sha, err)
		}
	}
	if !changed {
		return nil
	}
	_, err = db.Exec(`PRAGMA secure_delete = FAST; PRAGMA wal_checkpoint(TRUNCATE)`)
	return err
}

// texts are the configurations that hold an address, by their names.
func texts(db querier) (map[string]string, error) {
	rows, err := db.Query(`SELECT sha256, text FROM configuration WHERE text LIKE '%://%' OR text LIKE '%webhook%'`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	list := map[string]string{}
	for rows.Next() {
		var sha, text string
		if err := rows.Scan(&sha, &text); err != nil {
			return nil, err
		}
		list[sha] = text
	}
	return list, rows.Err()
}
