package record

import (
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// wanderingRows records rows some half a minute apart, of a clock that stops, jumps by
// hours and comes by the same minutes twice; Re is not always known.
func wanderingRows(r *Recorder, from, n int, random *rand.Rand) {
	at := start.Add(time.Duration(from) * 29 * time.Second)
	for i := range n {
		at = at.Add(time.Duration(random.Int64N(int64(58 * time.Second))))
		if random.IntN(200) == 0 {
			at = at.Add(time.Duration(random.Int64N(int64(4*time.Hour))) - 2*time.Hour)
		}
		b := tick(from + i + 1)
		b.Input.Number = 0
		b.State.Time = at
		b.State.Values.Put(quantity.Reynolds, 2000*random.NormFloat64())
		if random.IntN(10) == 0 {
			b.State.Values.Clear(quantity.Reynolds)
		}
		r.Put(b)
	}
}

// holdTrends holds trends of every length against plain SQL over what any tool sees.
func holdTrends(t *testing.T, r *Reader, random *rand.Rand, trends int) {
	t.Helper()
	plain := plainRows(t, r)
	defer plain.Close()
	for range trends {
		from := start.Add(time.Duration(random.Int64N(int64(30 * time.Hour))))
		to := from.Add(time.Duration(math.Exp(random.Float64()*math.Log(40*3600)) * float64(time.Second)))
		buckets := 1 + random.IntN(9)
		got, err := r.Trend(t.Context(), quantity.Reynolds, from, to, buckets)
		if err != nil || len(got) != buckets || !got[0].Time.Equal(from) {
			t.Fatalf("%d buckets, the first at %v, %v", len(got), got[0].Time, err)
		}
		for i, b := range got {
			end := to
			if i+1 < buckets {
				end = got[i+1].Time
			}
			holdBucket(t, plain, b, end)
		}
	}
}

// plainRows are the rows as any tool sees them, with an index by time.
func plainRows(t *testing.T, r *Reader) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`ATTACH ? AS recording; CREATE TABLE plain AS SELECT time, reynolds_number AS v FROM recording.sample; CREATE INDEX plain_time ON plain(time)`, r.path); err != nil {
		t.Fatal(err)
	}
	return db
}

func holdBucket(t *testing.T, plain *sql.DB, got daq.Bucket, end time.Time) {
	t.Helper()
	var low, mean, high, reach float64
	var n int
	err := plain.QueryRow(`SELECT coalesce(min(v), 0), coalesce(avg(v), 0), coalesce(max(v), 0), count(v), coalesce(max(abs(v)), 0) FROM plain WHERE time >= ? AND time < ?`,
		daq.FormatTime(got.Time), daq.FormatTime(end)).Scan(&low, &mean, &high, &n, &reach)
	if err != nil {
		t.Fatal(err)
	}
	if got.Min != low || got.Max != high || got.Count != n || math.Abs(got.Mean-mean) > 1e-12*reach {
		t.Fatalf("from %v to %v: %+v, want %v %v %v of %d", got.Time, end, got, low, mean, high, n)
	}
}

// TestTrendIsPlainSQL: least, greatest and number to the last bit and the mean to 1e-12,
// whatever the roll-ups have at that time: all, none, some, and after a kill or a newer
// start.
func TestTrendIsPlainSQL(t *testing.T) {
	daqtest.Counts(t)
	dir, random := t.TempDir(), rand.New(rand.NewPCG(7, 8))
	r := open(t, dir, Options{})
	holdTrends(t, r.Reader, random, 2)
	wanderingRows(r, 0, 1100, random)
	waitRow(t, r, 1100)
	holdTrends(t, r.Reader, random, 40)
	shut(t, r)
	again := open(t, dir, Options{packing: quick})
	wanderingRows(again, 1100, 200, random)
	waitRow(t, again, 1300)
	holdTrends(t, again.Reader, random, 20)
	await(t, "the roll-ups", func() bool { return rolled(t, again.Reader) > 1200 })
	holdTrends(t, again.Reader, random, 20)
	if n := readerCount(t, again.Reader, `SELECT count(DISTINCT n) FROM (`+perLevel("SELECT sum(row_count) AS n FROM %s")+`)`); n != 1 {
		t.Errorf("the levels hold %d numbers of rows", n)
	}
	shut(t, again)
	execute(t, dir, `DELETE FROM meta WHERE key = 'rolled_up'`) // on demand
	more := open(t, dir, Options{packing: packing{inputs: 50, step: 7, every: 20 * time.Millisecond, soon: 5 * time.Millisecond}})
	holdTrends(t, more.Reader, random, 5) // on the way
	await(t, "the roll-ups made anew", func() bool { return rolled(t, more.Reader) > 1200 })
	holdTrends(t, more.Reader, random, 20)
}

func rolled(t *testing.T, r *Reader) int {
	t.Helper()
	return readerCount(t, r, `SELECT coalesce(max(CAST(value AS INTEGER)), 0) FROM meta WHERE key = 'rolled_up'`)
}

func perLevel(query string) (all string) {
	for i, level := range levels {
		if i > 0 {
			all += " UNION ALL "
		}
		all += fmt.Sprintf(query, levelTable(level))
	}
	return all
}

// TestRollupsGoWithTheirRows: a minute is in every level in the transaction that has the
// first row of the next one, and not before.
func TestRollupsGoWithTheirRows(t *testing.T) {
	r := open(t, t.TempDir(), Options{packing: quick})
	for n := 1; n <= 121; n++ {
		r.Put(tick(n))
	}
	await(t, "the first minute", func() bool { return rolled(t, r.Reader) > 0 })
	for n := 122; n <= 181; n++ {
		r.Put(tick(n))
	}
	waitRow(t, r, 181)
	minute := start.Add(181 * time.Second).Truncate(time.Minute)
	want := int(minute.Sub(start) / time.Second)
	for _, level := range levels {
		if got := readerCount(t, r.Reader, `SELECT sum(row_count) FROM `+levelTable(level)); got != want {
			t.Errorf("%d s: %d rows of the minutes before %v, want %d", level, got, minute, want)
		}
	}
	if got := rolled(t, r.Reader); got != want {
		t.Errorf("rolled up to %d, want %d", got, want)
	}
}
