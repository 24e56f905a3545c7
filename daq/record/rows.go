package record

import (
	"context"
	"database/sql"
	"iter"
)

type querier interface {
	QueryRow(query string, arguments ...any) *sql.Row
	QueryContext(ctx context.Context, query string, arguments ...any) (*sql.Rows, error)
}

// rowsOf reads what a query gives, row by row. It stops after the first error.
func rowsOf[T any](ctx context.Context, db querier, scan func(*sql.Rows) (T, error), query string, arguments ...any) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		rows, err := db.QueryContext(ctx, query, arguments...)
		if err != nil {
			yield(none, err)
			return
		}
		defer rows.Close()
		for rows.Next() {
			if one, err := scan(rows); !yield(one, err) || err != nil {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(none, err)
		}
	}
}

// explained has the errors of a reading say where and at what.
func explained[T any](path, operation string, rows iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for one, err := range rows {
			if err != nil {
				err = explain(path, operation, err)
			}
			if !yield(one, err) {
				return
			}
		}
	}
}

// list gathers rows; nil with an error.
func list[T any](rows iter.Seq2[T, error]) (all []T, err error) {
	for one, err := range rows {
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, nil
}

// pair is a row of two columns.
type pair[K, V any] struct {
	key   K
	value V
}

func scanPair[K, V any](rows *sql.Rows) (p pair[K, V], err error) {
	return p, rows.Scan(&p.key, &p.value)
}
