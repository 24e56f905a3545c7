package record

import (
	"context"
	"database/sql"
	"fmt"

	"flowrigd/config"
)

// strikeSecrets takes the secrets out of configurations that an older flowrigd
// recorded with them. They keep their names, by which rows and inputs know
// them, and are the only ones whose name is not the digest of the text.
func strikeSecrets(db *sql.DB) error {
	texts, err := list(rowsOf(context.Background(), db, scanPair[string, string],
		`SELECT sha256, text FROM configuration WHERE text LIKE '%://%' OR text LIKE '%webhook%'`))
	if err != nil {
		return err
	}
	changed := false
	for _, t := range texts {
		clean := string(config.Redact([]byte(t.value)))
		if clean == t.value {
			continue
		}
		if !changed { // what was there is overwritten and not only let go
			if _, err := db.Exec(`PRAGMA secure_delete = ON`); err != nil {
				return err
			}
		}
		changed = true
		if _, err := db.Exec(`UPDATE configuration SET text = ? WHERE sha256 = ?`, clean, t.key); err != nil {
			return fmt.Errorf("configuration %s: %w", t.key, err)
		}
	}
	if !changed {
		return nil
	}
	_, err = db.Exec(`PRAGMA secure_delete = FAST; PRAGMA wal_checkpoint(TRUNCATE)`)
	return err
}
