package daq

// Batch is what one step gives the journal.
type Batch struct {
	Input    Input
	State    *State          // the row to record; nil between rows
	Events   []Event         // those to record: alarms and notes
	Receipts func([]Receipt) // called once when Events are durable; nil without Events
	Digest   string          // of all states up to Input, once a minute; "" else
}

// Journal takes batches and never blocks.
type Journal interface{ Put(Batch) }
