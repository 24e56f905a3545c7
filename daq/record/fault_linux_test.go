package record

import (
	"os"
	"os/signal"
	"strings"
	"syscall"
	"testing"
)

// A disk that takes no more bytes, by the kernel's own word: the limit of file
// size of this process stands in for it, and SQLite itself fails.
func TestRealWriteErrorHealsByItself(t *testing.T) {
	r := open(t, t.TempDir(), Options{stat: onceAsked()})
	tell(t, r, raise("a", "before", 0))
	lift := limitFiles(t, 1)
	b := tick(2)
	for range 200 { // enough to need new pages
		b.Events = append(b.Events, raise("a", "during", 0))
	}
	r.Put(b)
	until(t, r, "the failure", func() bool { ok, _, _ := r.Healthy(); return !ok })
	if _, _, why := r.Healthy(); !strings.Contains(why, "I/O error") || !strings.Contains(why, "look at the system's log") {
		t.Errorf("%q does not say what is wrong and what to do", why)
	}
	lift()
	if n := tell(t, r, raise("a", "after", 0))[0]; n != 202 {
		t.Errorf("the alarm after has sequence %d", n)
	}
	until(t, r, "health", func() bool { ok, _, _ := r.Healthy(); return ok })
}

// onceAsked looks at each file once: the testing package logs every look, to a
// file that has the limit too.
func onceAsked() func(string) (os.FileInfo, error) {
	known := map[string]os.FileInfo{}
	return func(name string) (info os.FileInfo, err error) {
		if known[name] == nil {
			known[name], err = os.Stat(name)
		}
		return known[name], err
	}
}

// limitFiles sets the largest size that a file of this process may have.
func limitFiles(t *testing.T, size uint64) (lift func()) {
	t.Helper()
	signal.Ignore(syscall.SIGXFSZ)
	var before syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &before); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: before.Max}); err != nil {
		t.Fatal(err)
	}
	lift = func() {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &before); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(lift)
	return lift
}
