package notify

import (
	"fmt"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"flowrigd/daq"
)

// compose writes the mail.
func (m *mailer) compose(batch []*message) (*mail.Msg, error) {
	text := mail.NewMsg()
	if err := text.From(m.config.From); err != nil {
		return nil, err
	}
	if err := text.To(m.to); err != nil {
		return nil, err
	}
	from := batch[0].from
	text.Subject(subject(from, batch))
	text.SetDate()
	text.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834, 5
	if id := identity(batch); id != "" {
		text.SetMessageIDWithValue(id)
	}
	if worst(batch).Priority == "high" {
		text.SetImportance(mail.ImportanceHigh)
	}
	text.SetBodyString(mail.TypeTextPlain, words(from, batch))
	return text, nil
}

// identity is the same for the same alarms, so that a mail that was sent again
// because its receipt was lost is known for what it is.
func identity(batch []*message) string {
	first, last := batch[0], batch[len(batch)-1]
	if first.Recording == "" || last.Sequence == 0 {
		return ""
	}
	return fmt.Sprintf("%s.%d-%d@flowrigd.invalid", first.Recording, first.Sequence, last.Sequence)
}

// worst is the newest of the highest priority.
func worst(batch []*message) *message {
	rank := map[string]int{"high": 3, "medium": 2, "low": 1}
	best := batch[0]
	for _, m := range batch[1:] {
		if rank[m.Priority] >= rank[best.Priority] {
			best = m
		}
	}
	return best
}

func subject(from place, batch []*message) string {
	m := worst(batch)
	text := fmt.Sprintf("%s %s: %s %s, %s priority", from.Site, from.Rig, m.Name, m.State, m.Priority)
	if len(batch) > 1 {
		text += fmt.Sprintf(", and %d more", len(batch)-1)
	}
	return text
}

const reminder = "This program is a second line of defence and never the safety system: trust the thermal cut-out, the switch at the heater and your own eyes.\n"

// words are the mail's text.
func words(from place, batch []*message) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Rig %s at %s. Values are in SI units and degrees Celsius, times are UTC.\n", from.Rig, from.Site)
	for _, m := range batch {
		fmt.Fprintf(&b, "\n%s: %s (%s priority)\n%s%s\n", m.Name, m.State, m.Priority, m.Time.UTC().Format(time.DateTime), figures(&m.AlarmEvent))
		fmt.Fprintf(&b, "Cause: %s\nConsequence: %s\nAction: %s\n", m.Cause, m.Consequence, m.Action)
		if m.Tripped {
			b.WriteString("The heating permit is down until a person resets this alarm and gives it again.\n")
		}
		if m.Who != "" {
			fmt.Fprintf(&b, "By: %s\n", m.Who)
		}
		if !m.Recorded {
			b.WriteString("The disk has not recorded this alarm yet.\n")
		}
	}
	return b.String() + "\n" + reminder
}

func figures(e *daq.AlarmEvent) string {
	var text string
	if e.Value != nil {
		text += fmt.Sprintf(", value %.4g", *e.Value)
	}
	if e.Limit != nil {
		text += fmt.Sprintf(", limit %.4g", *e.Limit)
	}
	return text
}
