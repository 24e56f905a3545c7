package engine

import "time"

// chatter remembers when an alarm was set last, to name one that chatters:
// three times or more within a minute (common practice; secondary sources of
// the two standards).
type chatter struct {
	at [3]time.Duration
	n  int
}

const chatterWithin = time.Minute

func (c *chatter) set(at time.Duration) {
	c.at[c.n%len(c.at)] = at
	c.n++
}

func (c *chatter) chatters(now time.Duration) bool {
	return c.n >= len(c.at) && now-c.at[c.n%len(c.at)] <= chatterWithin
}
