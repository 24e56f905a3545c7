package record

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// maxBuckets bounds one trend: more than any screen has columns.
const maxBuckets = 10000

// Trend gives a quantity from one time to another in equal buckets, oldest
// first. Yes-or-no quantities count as 0 and 1; the regime has no trend.
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
	var tables []string
	for _, table := range r.tables {
		column := "NULL"
		if r.have[table][id.Name()] {
			column = id.Name()
			if table == rowTable {
				column = shown(id.Name())
			}
		}
		tables = append(tables, fmt.Sprintf(`SELECT %s AS v FROM %s WHERE time >= ? AND time < ?`, column, table))
	}
	statement, err := r.history.PrepareContext(ctx, `SELECT min(v), avg(v), max(v), count(v) FROM (`+strings.Join(tables, " UNION ALL ")+`)`)
	if err != nil {
		return nil, explain(r.path, "trend", err)
	}
	defer statement.Close()
	out := make([]daq.Bucket, buckets)
	for i := range out {
		begin, end := edge(from, to, i, buckets), edge(from, to, i+1, buckets)
		if out[i], err = r.readBucket(ctx, statement, begin, end); err != nil {
			return nil, explain(r.path, "trend", err)
		}
	}
	return out, nil
}

// edge is where bucket i begins; in floating point, for a span of years times
// ten thousand does not fit into a Duration.
func edge(from, to time.Time, i, buckets int) time.Time {
	return from.Add(time.Duration(float64(to.Sub(from)) * float64(i) / float64(buckets)))
}

func (r *Reader) readBucket(ctx context.Context, s *sql.Stmt, begin, end time.Time) (daq.Bucket, error) {
	b := daq.Bucket{Time: begin}
	var low, mean, high sql.NullFloat64
	var arguments []any
	for _, table := range r.tables {
		_, more := span{from: begin, to: end}.where(table)
		arguments = append(arguments, more...)
	}
	err := s.QueryRowContext(ctx, arguments...).Scan(&low, &mean, &high, &b.Count)
	b.Min, b.Mean, b.Max = low.Float64, mean.Float64, high.Float64
	return b, err
}
