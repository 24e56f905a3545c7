package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/request"
)

const (
	bucketsDefault = 600
	bucketsMost    = 5000
	trendDefault   = time.Hour
	trendWait      = 20 * time.Second
)

// trendQuery is a checked request for a trend.
type trendQuery struct {
	id       quantity.ID
	from, to time.Time
	buckets  int
}

// trendHead is the answer without its buckets; one in which nothing was known has nulls.
type trendHead struct {
	Quantity  string `json:"quantity"`
	Unit      string `json:"unit"`
	From      string `json:"from"`
	To        string `json:"to"`
	FromLocal string `json:"from_local"` // in the rig's zone, for the axis
	ToLocal   string `json:"to_local"`
}

// appendBucket writes a bucket, by hand: an answer has up to 5000 of them.
func appendBucket(text []byte, b daq.Bucket) []byte {
	text = append(text, `{"time":"`...)
	text = append(append(text, daq.FormatTime(b.Time)...), '"')
	for _, v := range []struct {
		key   string
		value float64
	}{{`,"min":`, b.Min}, {`,"mean":`, b.Mean}, {`,"max":`, b.Max}} {
		text = append(text, v.key...)
		if b.Count > 0 {
			text = strconv.AppendFloat(text, v.value, 'g', -1, 64)
		} else {
			text = append(text, "null"...)
		}
	}
	text = strconv.AppendInt(append(text, `,"count":`...), int64(b.Count), 10)
	return append(text, '}')
}

func encodeTrend(head trendHead, list []daq.Bucket) object {
	text := encode(head)
	text = append(text[:len(text)-1], `,"buckets":[`...)
	for i, b := range list {
		if i > 0 {
			text = append(text, ',')
		}
		text = appendBucket(text, b)
	}
	return append(text, "]}"...)
}

func (s *Server) trend(w http.ResponseWriter, r *http.Request) (any, error) {
	query := r.URL.Query()
	q, err := parseTrend(query, s.opt.Now())
	if err != nil {
		return nil, problem{Status: http.StatusBadRequest, Detail: err.Error()}
	}
	if s.opt.History == nil {
		return nil, errors.New("nothing is recorded, so there is no trend")
	}
	ctx, cancel := context.WithTimeout(r.Context(), trendWait)
	defer cancel()
	asked := query.Encode()
	if shared, ok := s.trends.find(asked, s.opt.Now()); ok {
		return shared, nil
	}
	done, err := s.costly(ctx, w, r)
	if err != nil {
		return nil, err
	}
	defer done()
	if shared, ok := s.trends.find(asked, s.opt.Now()); ok { // made while this one waited
		return shared, nil
	}
	list, err := s.opt.History.Trend(ctx, q.id, q.from, q.to, q.buckets)
	if err != nil {
		return nil, fmt.Errorf("the recording does not answer: %w", err)
	}
	f := s.facts.Load()
	head := trendHead{q.id.Name(), quantity.Table[q.id].Unit, daq.FormatTime(q.from), daq.FormatTime(q.to),
		f.local(q.from).Format(time.RFC3339), f.local(q.to).Format(time.RFC3339)}
	one := sharedTrend{asked, query.Get("to") == "", head.To, s.opt.Now(), encodeTrend(head, list)}
	s.trends.keep(one)
	return one.encoded, nil // written in this turn, and sent after it
}

// parseTrend checks a request; now is what `to` is when it is not given.
func parseTrend(v url.Values, now time.Time) (q trendQuery, err error) {
	for key := range v {
		switch key {
		case "quantity", "from", "to", "buckets":
		default:
			return q, fmt.Errorf("%s: unknown; there are quantity, from, to and buckets", key)
		}
	}
	if q.id, err = trendQuantity(v.Get("quantity")); err != nil {
		return q, err
	}
	if q.to, err = trendTime(v, "to", now); err != nil {
		return q, err
	}
	if q.from, err = trendFrom(v, q.to); err != nil {
		return q, err
	}
	if !q.from.Before(q.to) {
		return q, fmt.Errorf("from: %s is not before to: %s", daq.FormatTime(q.from), daq.FormatTime(q.to))
	}
	q.buckets = bucketsDefault
	if text := v.Get("buckets"); text != "" {
		q.buckets, err = strconv.Atoi(text)
		if err != nil || q.buckets < 1 || q.buckets > bucketsMost {
			return q, fmt.Errorf("buckets: %q; write a number from 1 to %d", text, bucketsMost)
		}
	}
	return q, nil
}

func trendQuantity(name string) (quantity.ID, error) {
	id, ok := quantity.ByName(name)
	if !ok {
		id, ok = quantity.ByShort(name)
	}
	if !ok {
		return 0, fmt.Errorf("quantity: %q is not one; write a name of /api/now, such as %s", name, quantity.Reynolds.Name())
	}
	if quantity.Table[id].Kind == quantity.Word {
		return 0, fmt.Errorf("quantity: %s is a word and has no trend; take %s", name, quantity.Reynolds.Name())
	}
	return id, nil
}

// trendFrom reads a time or, since a reader's clock may be another one than the
// rig's, a length back from the end such as "-10 min".
func trendFrom(v url.Values, to time.Time) (time.Time, error) {
	if back, ok := strings.CutPrefix(v.Get("from"), "-"); ok {
		length, err := request.Length(back)
		if err != nil {
			return to, fmt.Errorf("from: %w", err)
		}
		return to.Add(-length), nil
	}
	return trendTime(v, "from", to.Add(-trendDefault))
}

func trendTime(v url.Values, key string, otherwise time.Time) (time.Time, error) {
	text := v.Get(key)
	if text == "" {
		return otherwise, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, fmt.Errorf("%s: %q is not a time; write RFC 3339, such as 2026-01-02T15:04:05Z", key, text)
	}
	return t, nil
}
