package notify

import (
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
)

// The figures count what happened: two attempts in vain, one that delivered,
// and what waits meanwhile.
func TestFigures(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		d.set(always(500))
		o.raise("a", "high")
		for len(d.attempts()) < 2 {
			time.Sleep(100 * time.Millisecond)
		}
		synctest.Wait()
		s := n.Stats()[0]
		equal(t, "in the outage", [4]uint64{s.Attempts, s.Failed, s.Delivered, uint64(s.Waiting)}, [4]uint64{2, 2, 0, 1})
		if s.Trouble != "post: answered 500 Internal Server Error" || time.Since(s.Since) < time.Second/2 || time.Since(s.Since) > 3*time.Second {
			t.Errorf("trouble %q since %s", s.Trouble, time.Since(s.Since))
		}
		d.set(nil)
		time.Sleep(time.Minute)
		s = n.Stats()[0]
		equal(t, "behind it", [4]uint64{s.Attempts, s.Failed, s.Delivered, uint64(s.Waiting)}, [4]uint64{3, 2, 1, 0})
		equal(t, "trouble", s.Trouble, "")
		must(t, stop())
	})
}

// An alarm told without the disk that is refused for what it holds is let go:
// the recording brings it again.
func TestRefusedWhileTheDiskHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		time.Sleep(time.Second)
		o.hang(false)
		d.set(always(422))
		o.tell(transition("a", "high"))
		time.Sleep(time.Hour)
		s := n.Stats()[0]
		equal(t, "tried, set aside, waiting", [3]uint64{uint64(len(d.attempts())), s.Refused, uint64(s.Waiting)}, [3]uint64{refusals, 1, 0})
		must(t, stop())
	})
}

// Who is not let in is told where the token is.
func TestRefusedTokenIsNamed(t *testing.T) {
	for _, status := range []int{401, 403} {
		err := verdict(&http.Response{StatusCode: status, Status: http.StatusText(status)})
		if err == nil || !strings.HasSuffix(err.Error(), "; check token_file") {
			t.Errorf("%d: %v", status, err)
		}
	}
}

// A delivery ends an outage: the next one begins with short waits again, and
// counts its own refusals.
func TestADeliveryBeginsAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		d.set(always(422))
		o.raise("a", "high")
		for len(d.attempts()) < refusals-1 {
			time.Sleep(100 * time.Millisecond)
		}
		d.set(nil)
		time.Sleep(time.Minute)
		equal(t, "told", d.names(), "a:1")
		before := len(d.attempts())
		d.set(func(m *message) (int, string) {
			if m.Name == "b" {
				return 422, ""
			}
			return 200, ""
		})
		o.raise("b", "high")
		o.raise("c", "high")
		time.Sleep(1100 * time.Millisecond)
		if tried := len(d.attempts()) - before; tried != 2 {
			t.Errorf("%d attempts in the first second, want the first and one more", tried)
		}
		equal(t, "told behind one refusal", d.names(), "a:1")
		must(t, stop())
	})
}
