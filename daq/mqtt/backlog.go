package mqtt

import (
	"context"
	"errors"
	"time"

	"flowrigd/daq"
)

// question is what the session wants that is not at hand.
type question struct {
	session *session
	queue   *queue // whose messages
	known   bool   // whether after is known; otherwise it is the mark
	after   int64
	limit   int
}

// answer is what the disk gave.
type answer struct {
	question
	messages []daq.Message
	err      error
}

// backlog reads what is not at hand in a goroutine of its own, so that a disk that
// does not answer stops neither state nor presence nor an alarm told without it.
// One question is with it at a time; it outlives connections.
type backlog struct {
	feed        Feed
	destination string
	questions   chan question
	answers     chan answer
	done        chan struct{}
	busy        bool // of the session's goroutine: a question is out
}

func newBacklog(f Feed, destination string) *backlog {
	return &backlog{feed: f, destination: destination,
		questions: make(chan question, 1), answers: make(chan answer, 1), done: make(chan struct{})}
}

func (b *backlog) run(ctx context.Context) {
	defer close(b.done)
	for {
		select {
		case <-ctx.Done():
			return
		case q := <-b.questions:
			// One question is out at a time, so there is always room for its answer.
			b.answers <- b.answer(ctx, q)
		}
	}
}

func (b *backlog) answer(ctx context.Context, q question) answer {
	a := answer{question: q}
	if !q.known {
		if a.after, a.err = b.feed.Marked(b.destination, q.queue.class); a.err != nil {
			return a
		}
	}
	a.messages, a.err = b.feed.Pending(ctx, q.queue.class, a.after, q.limit)
	return a
}

// ask hands a question over; the answer comes on answers.
func (b *backlog) ask(q question) {
	b.busy = true
	b.questions <- q
}

// finish waits for the goroutine to end, but not for a hung disk.
func (b *backlog) finish(patience time.Duration) error {
	t := time.NewTimer(patience)
	defer t.Stop()
	select {
	case <-b.done:
		return nil
	case <-t.C:
		return errors.New("mqtt: recording: no answer at the end; the disk may be hung")
	}
}
