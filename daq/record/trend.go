package record

import (
	"context"
	"database/sql"
	"fmt"
	"sort"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// maxBuckets bounds one trend: more than any screen has columns.
const maxBuckets = 10000

// Trend gives a quantity from one time to another in equal buckets, oldest
// first. The first begins and the last ends exactly there; where a bucket is longer than
// a minute those between begin at a whole span of a roll-up, as each says. Yes-or-no quantities count as 0 and 1; the regime has no trend.
func (r *Reader) Trend(ctx context.Context, id quantity.ID, from, to time.Time, buckets int) ([]daq.Bucket, error) {
	if id >= quantity.Count || quantity.Table[id].Kind == quantity.Word {
		return nil, fmt.Errorf("trend: this quantity is not a number; name another one")
	}
	if !to.After(from) || buckets < 1 || buckets > maxBuckets {
		return nil, fmt.Errorf("trend: from %s to %s in %d buckets: to must be after from, and buckets 1 to %d", daq.FormatTime(from), daq.FormatTime(to), buckets, maxBuckets)
	}
	select {
	case r.trends <- struct{}{}:
		defer func() { <-r.trends }()
	case <-ctx.Done():
		return nil, fmt.Errorf("trend: %d others are under way: %w; ask again, or for a shorter time", trendsAtOnce, ctx.Err())
	}
	t := &trend{r: r, ctx: ctx, id: id, edges: make([]time.Time, buckets+1), buckets: make([]extent, buckets)}
	level := t.level(to.Sub(from), buckets)
	for i := range t.edges {
		t.edges[i] = edge(from, to, i, buckets)
		if i > 0 && i < buckets && level >= 0 {
			t.edges[i] = time.Unix(floorTo(t.edges[i].Unix(), levels[level]), 0).UTC()
		}
		t.bounds = append(t.bounds, t.edges[i].UnixMicro())
	}
	if err := t.read(level); err != nil {
		return nil, explain(r.path, "trend", err)
	}
	return t.list(), nil
}

// edge is where bucket i begins; in floating point, for a span of years times
// ten thousand does not fit into a Duration.
func edge(from, to time.Time, i, buckets int) time.Time {
	if i == buckets {
		return to
	}
	return from.Add(time.Duration(float64(to.Sub(from)) * float64(i) / float64(buckets)))
}

// trend is one that is being read.
type trend struct {
	r       *Reader
	ctx     context.Context
	db      querier // one moment of the recording
	id      quantity.ID
	edges   []time.Time
	bounds  []int64 // the edges in microseconds, as rows have them
	buckets []extent
	covered int64 // sequence of the newest row in the roll-ups
}

// level is the coarsest level whose spans are no longer than a bucket; -1 for the rows
// themselves.
func (t *trend) level(span time.Duration, buckets int) int {
	if len(t.r.tables) > 1 || !t.r.have[levelTable(levels[0])][t.id.Name()+"_min"] {
		return -1
	}
	for i := len(levels) - 1; i >= 0; i-- {
		if span/time.Duration(buckets) >= time.Duration(levels[i])*time.Second {
			return i
		}
	}
	return -1
}

// read takes what the roll-ups have, and the rows for the rest.
func (t *trend) read(level int) error {
	tx, err := t.r.history.BeginTx(t.ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	t.db = tx
	from, to := t.edges[0], t.edges[len(t.edges)-1]
	if level < 0 {
		return t.rows(span{from: from, to: to})
	}
	if t.covered, _, err = rollupsEnd(tx); err != nil {
		return err
	}
	if t.covered > 0 {
		err = t.cover(level, from, to)
	}
	if err != nil {
		return err
	}
	return t.rows(span{after: t.covered, from: from, to: to})
}

// cover takes the whole spans of a level from it, and what is before and behind them from
// the finer ones, down to the rows.
func (t *trend) cover(level int, from, to time.Time) error {
	if !from.Before(to) {
		return nil
	}
	if level < 0 {
		return t.rows(span{from: from, to: to, upTo: t.covered})
	}
	step := levels[level]
	begin, end := time.Unix(-floorTo(-from.Unix(), step), 0), time.Unix(floorTo(to.Unix(), step), 0)
	if begin.Before(from) { // part of a second
		begin = begin.Add(time.Duration(step) * time.Second)
	}
	if !begin.Before(end) {
		return t.cover(level-1, from, to)
	}
	if err := t.cover(level-1, from, begin); err != nil {
		return err
	}
	if err := t.rollups(level, begin, end); err != nil {
		return err
	}
	return t.cover(level-1, end, to)
}

func (t *trend) rollups(level int, from, to time.Time) error {
	query := fmt.Sprintf(`SELECT begin, %[1]s_min, %[1]s_sum, %[1]s_max, %[1]s_count FROM %[2]s
		WHERE begin >= ? AND begin < ? AND %[1]s_count > 0 ORDER BY begin`, t.id.Name(), levelTable(levels[level]))
	return t.gather(query, []any{from.Unix(), to.Unix()}, func(rows *sql.Rows) (at time.Time, e extent, err error) {
		var begin, count int64
		var low, sum, high float64
		err = rows.Scan(&begin, &low, &sum, &high, &count)
		e.add(low, sum, high, count)
		return time.Unix(begin, 0), e, err
	})
}

func (t *trend) rows(s span) error {
	for _, table := range t.r.tables {
		if !t.r.have[table][t.id.Name()] {
			continue
		}
		where, arguments := s.where(table)
		var values quantity.Set
		err := t.gather(`SELECT time, `+t.id.Name()+` FROM `+table+where, arguments, func(rows *sql.Rows) (at time.Time, e extent, err error) {
			values.Clear(t.id)
			err = rows.Scan((*moment)(&at), &figure{&values, t.id})
			if v, known := values.Get(t.id); known {
				e.add(v, v, v, 1)
			}
			return at, e, err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// gather puts what a query gives into its buckets.
func (t *trend) gather(query string, arguments []any, scan func(*sql.Rows) (time.Time, extent, error)) error {
	rows, err := t.db.QueryContext(t.ctx, query, arguments...)
	if err != nil {
		return err
	}
	defer rows.Close()
	i := 0
	for rows.Next() {
		at, e, err := scan(rows)
		if err != nil {
			return err
		}
		if e.count == 0 {
			continue
		}
		if us := at.UnixMicro(); us < t.bounds[i] || us >= t.bounds[i+1] {
			i = sort.Search(len(t.buckets), func(k int) bool { return us < t.bounds[k+1] })
		}
		t.buckets[i].add(e.min, e.sum.total(), e.max, e.count)
	}
	return rows.Err()
}

func (t *trend) list() []daq.Bucket {
	out := make([]daq.Bucket, len(t.buckets))
	for i := range out {
		out[i].Time = t.edges[i]
		if e := &t.buckets[i]; e.count > 0 {
			out[i] = daq.Bucket{Time: t.edges[i], Min: e.min, Mean: e.sum.total() / float64(e.count), Max: e.max, Count: int(e.count)}
		}
	}
	return out
}
