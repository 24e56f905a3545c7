package mqtt

import (
	"context"
	"errors"
	"time"

	"flowrigd/daq"
)

// question is what the session wants of the outbox.
type question struct {
	session *session
	marks   []mark
	queue   *queue // whose messages; nil: only keep the marks
	known   bool   // whether after is known; otherwise it is the outbox's mark
	after   int64
	limit   int
	want    func(ctx context.Context, o Outbox) ([]daq.Message, error) // a repair's search; nil otherwise
}

type mark struct {
	class    daq.Class
	sequence int64
}

// answer is what the outbox gave.
type answer struct {
	question
	messages []daq.Message
	err      error
}

// feeder reads the outbox in a goroutine of its own, so that a disk that does
// not answer stops neither state nor presence nor an alarm told without it.
// One question is with it at a time; it outlives connections.
type feeder struct {
	outbox      Outbox
	destination string
	questions   chan question
	answers     chan answer
	done        chan struct{}
	busy        bool // of the session's goroutine: a question is out
}

func newFeeder(o Outbox, destination string) *feeder {
	return &feeder{outbox: o, destination: destination,
		questions: make(chan question, 1), answers: make(chan answer, 1), done: make(chan struct{})}
}

func (f *feeder) run(ctx context.Context) {
	defer close(f.done)
	for {
		select {
		case <-ctx.Done():
			return
		case q := <-f.questions:
			// One question is out at a time, so there is always room for its answer.
			f.answers <- f.answer(ctx, q)
		}
	}
}

func (f *feeder) answer(ctx context.Context, q question) answer {
	for _, m := range q.marks {
		f.outbox.Mark(f.destination, m.class, m.sequence)
	}
	a := answer{question: q}
	switch {
	case q.want != nil:
		a.messages, a.err = q.want(ctx, f.outbox)
	case q.queue != nil:
		f.read(ctx, &a)
	}
	return a
}

func (f *feeder) read(ctx context.Context, a *answer) {
	if !a.known {
		if a.after, a.err = f.outbox.Marked(f.destination, a.queue.class); a.err != nil {
			return
		}
	}
	a.messages, a.err = f.outbox.Pending(ctx, a.queue.class, a.after, a.limit)
}

// ask hands a question over; the answer comes on answers.
func (f *feeder) ask(q question) {
	f.busy = true
	f.questions <- q
}

// finish waits for the goroutine to end, but not for a hung disk.
func (f *feeder) finish(patience time.Duration) error {
	t := time.NewTimer(patience)
	defer t.Stop()
	select {
	case <-f.done:
		return nil
	case <-t.C:
		return errors.New("mqtt: outbox: no answer at the end; the disk may be hung")
	}
}
