//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// second starts a daemon with the first one's configuration beside it, and waits
// until it stands by.
func (b *holdBench) second() *holdBench {
	b.t.Helper()
	s := *b
	s.at = daqtest.FreeAddress(b.t)
	s.file = write(b.t, filepath.Join(b.dir, "second.toml"), strings.Replace(read(b.t, b.file), b.at, s.at, 1))
	s.daemon = start(b.t, program, "run", "--config", s.file)
	within(b.t, 10*time.Second, "the second stands by", func() bool {
		status, body := get("http://" + s.at + "/readyz")
		return status == 503 && strings.Contains(body, "another flowrigd records here")
	})
	return &s
}

// TestStandsByWithoutTheDisk takes the disk away under a daemon beside which
// another one stands by: that nobody can say who records is no sign that the first
// has ended.
func TestStandsByWithoutTheDisk(t *testing.T) {
	t.Parallel()
	first := newHolding(t)
	second := first.second()
	disk := filepath.Dir(first.record)
	must(t, os.Rename(disk, disk+".away"))
	write(t, disk, "in the place of the mount point")
	within(t, 10*time.Second, "the first has lost its recording", func() bool {
		_, body := get("http://" + first.at + "/readyz")
		return strings.Contains(body, "not a directory")
	})
	within(t, 15*time.Second, "the second cannot ask any more", func() bool {
		return strings.Contains(second.daemon.err.String(), "not a directory")
	})
	if log := second.daemon.err.String(); strings.Contains(log, "takes over") {
		t.Errorf("the second takes over while the first works:\n%s", log)
	}
	if !first.firstDrop().IsZero() {
		t.Error("the second one has dropped the first one's permit")
	}
}

// TestYieldsTheRigWithItsRecording: while the disk is away from the first daemon
// another one takes the recording. Who records has the rig: the first one drops its
// permit and stands by.
func TestYieldsTheRigWithItsRecording(t *testing.T) {
	t.Parallel()
	first := newHolding(t)
	disk := filepath.Dir(first.record)
	must(t, os.Rename(disk, disk+".away"))
	write(t, disk, "in the place of the mount point")
	within(t, 10*time.Second, "the first has lost its recording", func() bool {
		return strings.Contains(first.daemon.err.String(), "nothing is recorded")
	})
	second := *first
	second.at = daqtest.FreeAddress(t)
	text := strings.Replace(read(t, first.file), first.at, second.at, 1)
	second.file = write(t, filepath.Join(first.dir, "second.toml"), strings.Replace(text, disk, disk+".away", 1))
	second.daemon = start(t, program, "run", "--config", second.file)
	within(t, 10*time.Second, "the second records", func() bool { return number(now(second.at), "sequence") >= 1 })
	must(t, os.Remove(disk))
	must(t, os.Symlink(disk+".away", disk))
	within(t, 15*time.Second, "the first stands by", func() bool {
		return strings.Contains(first.daemon.err.String(), "stands by: reads no instrument")
	})
	within(t, 15*time.Second, "the second has the lines", func() bool { return allGood(now(second.at)) })
	if first.last().on {
		t.Error("the relay is energised, and nobody has given the second one's permit")
	}
}

// TestTakesOverTheConfigurationOfNow changes the file while a daemon stands by: it
// takes over with what stands there by then, and keeps its own where that is wrong.
func TestTakesOverTheConfigurationOfNow(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, limit, want string }{
		{"another limit", "61 Cel", "water-overheat"},
		{"a wrong file", "61 bananas", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			first := newHoldBench(t)
			first.start()
			second := first.second()
			write(t, second.file, strings.Replace(read(t, second.file), "[alarms.water-overheat]", "[alarms.water-overheat]\nabove = \""+c.limit+"\"", 1))
			first.daemon.signal(syscall.SIGKILL)
			<-first.daemon.done
			within(t, 15*time.Second, "the second takes over", func() bool { return allGood(now(second.at)) })
			second.holds()
			second.set(func(*handBench) { second.celsius = 65 })
			if c.want == "" {
				if log := second.daemon.err.String(); !strings.Contains(log, "the file is wrong") {
					t.Errorf("nothing says that the file was not taken up:\n%s", log)
				}
				return
			}
			within(t, 10*time.Second, "the trip at the limit of now", func() bool { return len(second.tripped()) == 1 })
		})
	}
}
