package record

import (
	"database/sql"
	"errors"
	"strings"
)

// textsKept bounds the table of texts that rows name by a number.
const textsKept = 10000

// texts are the numbers of the texts that the rows of one transaction name.
type texts struct {
	tx      *sql.Tx
	numbers map[string]int64
	before  string // quality of the row before
}

// insert writes a row. Its configuration is named by a number, and so is its quality
// where all is good or was so in the row before: what comes and goes stands in the row.
func (n *texts) insert(statement *sql.Stmt, w *row) error {
	configuration, err := n.number(w.configuration, true)
	if err != nil {
		return err
	}
	quality, err := n.number(w.quality, w.quality == n.before || isGood(w.quality))
	if err != nil {
		return err
	}
	n.before = w.quality
	values := places(w.fields())
	values[3], values[4] = configuration, quality
	_, err = statement.Exec(values...)
	return err
}

func isGood(quality string) bool {
	return !strings.Contains(quality, `:"uncertain`) && !strings.Contains(quality, `:"bad`)
}

// number is the number of a text, or the text where it has none and is not to get one.
func (n *texts) number(text string, make bool) (any, error) {
	if number, ok := n.numbers[text]; ok {
		return number, nil
	}
	var number int64
	err := n.tx.QueryRow(`SELECT number FROM sample_text WHERE text = ?`, text).Scan(&number)
	if errors.Is(err, sql.ErrNoRows) {
		if !make {
			return text, nil
		}
		result, err := n.tx.Exec(`INSERT INTO sample_text(text) SELECT ? WHERE (SELECT count(*) FROM sample_text) < ?`, text, textsKept)
		if err != nil {
			return nil, err
		}
		if made, err := result.RowsAffected(); err != nil || made == 0 {
			return text, err
		}
		number, err = result.LastInsertId()
		if err != nil {
			return nil, err
		}
	} else if err != nil {
		return nil, err
	}
	if n.numbers == nil {
		n.numbers = map[string]int64{}
	}
	n.numbers[text] = number
	return number, nil
}
