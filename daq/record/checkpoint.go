package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"

	"flowrigd/daq"
)

// checkpointTable holds from where a replay can go on; an older flowrigd does not look
// at it. The checksum is that of the packed state.
const checkpointTable = `
CREATE TABLE IF NOT EXISTS checkpoint(
	run INTEGER NOT NULL, number INTEGER NOT NULL, time TEXT NOT NULL, configuration TEXT NOT NULL,
	sha256 BLOB NOT NULL, state BLOB NOT NULL, PRIMARY KEY(run, number));
`

// lostCheckpoints are those behind which an input has gone.
const lostCheckpoints = `DELETE FROM checkpoint WHERE rowid IN (SELECT rowid FROM checkpoint AS c
	WHERE NOT EXISTS (SELECT 1 FROM input WHERE run = c.run AND number <= c.number + 1)
	AND NOT EXISTS (SELECT 1 FROM input_block WHERE run = c.run AND first <= c.number + 1) LIMIT ?)`

// checkpoint writes the one behind an input.
func (t *transaction) checkpoint(e *entry) error {
	p := packer{}
	p.bytes(e.Checkpoint)
	sum := sha256.Sum256(p.out)
	_, err := t.tx.Exec(`INSERT OR IGNORE INTO checkpoint(run, number, time, configuration, sha256, state) VALUES (?,?,?,?,?,?)`,
		t.run, int64(e.Input.Number), fullTime(e.Input.Wall), t.sha, sum[:], p.out)
	return err
}

// Checkpoints gives those of a run, oldest first.
func (r *Reader) Checkpoints(ctx context.Context, run int64) ([]daq.Checkpoint, error) {
	if is, err := isTable(r.db, "checkpoint"); err != nil || !is {
		return nil, err // made before there were any
	}
	return list(explained(r.path, "checkpoints", rowsOf(ctx, r.db, scanCheckpoint,
		`SELECT number, time, configuration FROM checkpoint WHERE run = ? ORDER BY number`, run)))
}

func scanCheckpoint(rows *sql.Rows) (c daq.Checkpoint, err error) {
	var number int64
	err = rows.Scan(&number, &stamp{to: &c.Time}, &c.Configuration)
	c.Number = uint64(number)
	return c, err
}

// CheckpointState gives the state of one of Checkpoints. The error says where it is damaged.
func (r *Reader) CheckpointState(ctx context.Context, run int64, number uint64) ([]byte, error) {
	var sum, state []byte
	if err := r.db.QueryRowContext(ctx, `SELECT sha256, state FROM checkpoint WHERE run = ? AND number = ?`, run, int64(number)).Scan(&sum, &state); err != nil {
		return nil, explain(r.path, fmt.Sprintf("checkpoint of run %d behind input %d", run, number), err)
	}
	if is := sha256.Sum256(state); !bytes.Equal(is[:], sum) {
		return nil, errors.New("it is damaged: its bytes do not have its checksum")
	}
	u := unpacker{in: state}
	return u.bytes(), u.err
}
