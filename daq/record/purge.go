package record

import (
	"database/sql"
	"fmt"
	"time"

	"flowrigd/daq"
)

// The purge works in steps of purgeRows rows, some milliseconds each, so that
// an alarm waits for no more than one of them.
const (
	purgeRows  = 500
	purgeEvery = time.Minute
	purgeSoon  = 100 * time.Millisecond
)

// clockProbation is how long the wall clock must have been synchronised and
// without a jump before it may decide that something is too old.
const clockProbation = time.Hour

// clockStep is the difference between the steps of the wall clock and of the
// monotonic one that counts as a jump.
const clockStep = time.Second

// purger forgets what is too old or too much. Age needs a wall clock that has
// earned trust; size goes by the order of recording and needs none. It never
// forgets an alarm's last state, nor an alarm that a destination still waits for.
type purger struct {
	retention Retention

	last    daq.Input     // the previous input: its clocks
	trusted time.Duration // monotonic, since when the clock may be trusted
	known   bool          // there was an input
	growth  growth
}

// observe watches the clocks of an input.
func (p *purger) observe(in daq.Input) {
	if in.Number == 0 {
		return // no step of the engine
	}
	step := in.Wall.Sub(p.last.Wall) - (in.Mono - p.last.Mono)
	jumped := !p.known || in.Kind == daq.KindStart || step.Abs() >= clockStep
	if jumped || !in.Synchronised {
		p.trusted = in.Mono
	}
	p.last, p.known = in, true
}

// now is the wall time to judge age by, and whether there is one.
func (p *purger) now() (time.Time, bool) {
	return p.last.Wall, p.known && p.last.Mono-p.trusted >= clockProbation
}

// step forgets a little and says whether there is more.
func (p *purger) step(tx *sql.Tx) (more bool, err error) {
	if more, err = p.bySize(tx); err != nil || more {
		return more, err
	}
	for _, lost := range [...]string{lostDigests, lostCheckpoints} {
		gone, err := changed(tx, lost, purgeRows)
		if err != nil {
			return false, err
		}
		more = more || gone == purgeRows
	}
	now, ok := p.now()
	if !ok {
		return more, nil
	}
	for _, rule := range p.retention.rules() {
		if rule.keep <= 0 {
			continue
		}
		before := now.Add(-rule.keep)
		n, err := changed(tx, rule.delete, fullTime(before), purgeRows, before.UnixMicro())
		if err != nil {
			return false, err
		}
		more = more || n == purgeRows || n > 0 && rule.delete == oldBlocks
	}
	return more, nil
}

// rule forgets what is older than keep.
type rule struct {
	keep   time.Duration
	delete string
}

// rules are those of age.
func (r *Retention) rules() []rule {
	list := []rule{{r.KeepInputs, oldBlocks}, {r.KeepInputs, oldInputs}, {r.Keep, oldSamples}, {r.Keep, oldAlarms}}
	for _, level := range levels {
		list = append(list, rule{r.Keep, fmt.Sprintf(oldRollups, levelTable(level), level)})
	}
	for i := range kinds {
		if kinds[i].class == daq.ClassEvent {
			list = append(list, rule{r.Keep, fmt.Sprintf(oldEvents, kinds[i].table)})
		}
	}
	return list
}

// Each looks at the oldest rows only, by order of recording: no step searches
// the whole table. ?1 is the time before which a row is old, as text, ?3 in microseconds, ?2 the limit.
const (
	oldInputs = `DELETE FROM input WHERE (run, number) IN (
		SELECT run, number FROM (SELECT run, number, time FROM input ORDER BY run, number LIMIT ?2) WHERE time < ?1)`
	oldBlocks = `DELETE FROM input_block WHERE rowid = (
		SELECT rowid FROM (SELECT rowid, time_last FROM input_block ORDER BY run, first LIMIT 1) WHERE time_last < ?1) AND ?2 > 0`
	oldSamples = `DELETE FROM sample_row WHERE sequence IN (
		SELECT sequence FROM (SELECT sequence, time FROM sample_row ORDER BY sequence LIMIT ?2) WHERE time < ?3)`
	oldRollups = `DELETE FROM %[1]s WHERE ?1 <> '' AND begin IN (
		SELECT begin FROM (SELECT begin FROM %[1]s ORDER BY begin LIMIT ?2) WHERE begin <= ?3 / 1000000 - %[2]d)`
	oldEvents = `DELETE FROM %[1]s WHERE sequence IN (
		SELECT sequence FROM (SELECT sequence, time FROM %[1]s ORDER BY sequence LIMIT ?2) WHERE time < ?1)`
	oldAlarms = `DELETE FROM alarm_event WHERE sequence IN (
		SELECT sequence FROM (SELECT sequence, time, name FROM alarm_event ORDER BY sequence LIMIT ?2) AS old
		WHERE time < ?1 AND ` + mayForget + `)`
	// mayForget is true of an alarm's transition that is neither its last nor still to be told.
	mayForget = `sequence < (SELECT max(sequence) FROM alarm_event WHERE name = old.name)
		AND sequence <= coalesce((SELECT min(sequence) FROM mark WHERE class = 'alarm'), sequence)`

	// lostDigests are those whose inputs have gone: nothing can be held against them.
	lostDigests = `DELETE FROM digest WHERE (run, number) IN (
		SELECT run, number FROM (SELECT run, number FROM digest ORDER BY run, number LIMIT ?)
		WHERE (run, number) < (SELECT run, number FROM (SELECT run, first AS number FROM input_block UNION ALL SELECT run, number FROM input)
			ORDER BY run, number LIMIT 1))`

	firstBlock   = `DELETE FROM input_block WHERE ? > 0 AND rowid = (SELECT rowid FROM input_block ORDER BY run, first LIMIT 1)`
	firstInputs  = `DELETE FROM input WHERE (run, number) IN (SELECT run, number FROM input ORDER BY run, number LIMIT ?)`
	firstSamples = `DELETE FROM sample_row WHERE sequence IN (SELECT sequence FROM sample_row ORDER BY sequence LIMIT ?)`
	firstRollups = `DELETE FROM %[1]s WHERE begin IN (SELECT begin FROM %[1]s ORDER BY begin LIMIT ?)`
	firstEvents  = `DELETE FROM %[1]s WHERE sequence IN (SELECT sequence FROM %[1]s ORDER BY sequence LIMIT ?)`
	firstAlarms  = `DELETE FROM alarm_event WHERE sequence IN (
		SELECT sequence FROM alarm_event AS old WHERE ` + mayForget + ` ORDER BY sequence LIMIT ?)`
)

// bySize forgets the oldest inputs, then rows, then roll-ups, then notes and at last alarms
// while more than max_size is in use, and gives pages that are free back to the
// disk.
func (p *purger) bySize(tx *sql.Tx) (more bool, err error) {
	used, all, err := pages(tx)
	if err != nil {
		return false, err
	}
	p.growth.note(p.last.Mono, used)
	if p.retention.MaxSize <= 0 {
		return false, nil
	}
	if used <= p.retention.MaxSize {
		return false, shrink(tx, all > p.retention.MaxSize)
	}
	for _, statement := range forgottenBySize() {
		if n, err := changed(tx, statement, purgeRows); err != nil || n > 0 {
			return true, err
		}
	}
	return false, nil
}

// forgottenBySize are what goes, in its order. Test points, observations, collections,
// experiments and what was struck are little and the reason for it all: age alone
// forgets them, and configurations never go.
func forgottenBySize() []string {
	list := []string{lostCheckpoints, firstBlock, firstInputs, firstSamples}
	for _, level := range levels {
		list = append(list, fmt.Sprintf(firstRollups, levelTable(level)))
	}
	return append(list, fmt.Sprintf(firstEvents, "note"), firstAlarms)
}

// shrink gives some free pages back.
func shrink(tx *sql.Tx, wanted bool) error {
	if !wanted {
		return nil
	}
	_, err := tx.Exec(fmt.Sprintf(`PRAGMA incremental_vacuum(%d)`, purgeRows))
	return err
}

func changed(tx *sql.Tx, statement string, arguments ...any) (int64, error) {
	result, err := tx.Exec(statement, arguments...)
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}
