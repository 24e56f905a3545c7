//go:build unix

package instrument

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal is a pseudo-terminal: far is the instrument's end, device the name
// that is opened as a serial line.
type terminal struct {
	far    *os.File
	near   *os.File // held open, so that far does not fail while nobody is there
	device string
}

func newTerminal(t testing.TB) *terminal {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	rawMode(t, near)
	x := &terminal{far, near, near.Name()}
	t.Cleanup(x.pull)
	return x
}

// rawMode keeps the terminal from echoing and translating before it is opened.
func rawMode(t testing.TB, f *os.File) {
	t.Helper()
	termios, err := unix.IoctlGetTermios(int(f.Fd()), ioctlGet)
	if err != nil {
		t.Fatal(err)
	}
	termios.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG
	termios.Iflag &^= unix.ICRNL | unix.IXON
	termios.Oflag &^= unix.OPOST
	if err := unix.IoctlSetTermios(int(f.Fd()), ioctlSet, termios); err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(int(f.Fd()), true); err != nil {
		t.Fatal(err)
	}
}

// pull closes the far end: the cable is out.
func (x *terminal) pull() {
	x.far.Close()
	x.near.Close()
}

func openLine(t testing.TB, device string) Line {
	t.Helper()
	line, err := OpenSerial(testPort(device))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { line.Close() })
	return line
}

func TestLineCarriesBytes(t *testing.T) {
	x := newTerminal(t)
	line := openLine(t, x.device)
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	if _, err := line.Write(all); err != nil {
		t.Fatal(err)
	}
	got := make([]byte, 256)
	if _, err := io.ReadFull(x.far, got); err != nil || string(got) != string(all) {
		t.Errorf("far end: % X, %v", got, err)
	}
	if _, err := x.far.Write(all); err != nil {
		t.Fatal(err)
	}
	deadline(t, line, time.Second)
	if _, err := io.ReadFull(line, got); err != nil || string(got) != string(all) {
		t.Errorf("near end: % X, %v", got, err)
	}
}

func deadline(t testing.TB, line Line, d time.Duration) {
	t.Helper()
	if err := line.SetReadDeadline(time.Now().Add(d)); err != nil {
		t.Fatal(err)
	}
}

// The serial library answers a read that times out with (0, nil).
func TestLineReadTimeout(t *testing.T) {
	line := openLine(t, newTerminal(t).device)
	deadline(t, line, 20*time.Millisecond)
	if n, err := line.Read(make([]byte, 8)); n != 0 || !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("got %d, %v", n, err)
	}
}

// The serial library's Write blocks while the far end does not read.
func TestLineWriteIsBounded(t *testing.T) {
	line := openLine(t, newTerminal(t).device)
	if err := line.SetWriteDeadline(time.Now().Add(50 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	_, err := line.Write(make([]byte, 1<<20))
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("it took %v", took)
	}
}

// The serial library's Write after Close goes to whatever file has that
// descriptor by then.
func TestLineWriteAfterCloseReachesNothing(t *testing.T) {
	line := openLine(t, newTerminal(t).device)
	if err := line.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "database")
	var files []*os.File
	for range 8 { // some of them get the descriptors that were the line's
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	if _, err := line.Write([]byte("stray")); !errors.Is(err, os.ErrClosed) {
		t.Errorf("write: %v", err)
	}
	if _, err := line.Read(make([]byte, 1)); !errors.Is(err, os.ErrClosed) {
		t.Errorf("read: %v", err)
	}
	if b, err := os.ReadFile(path); err != nil || len(b) != 0 {
		t.Errorf("the file holds %q, %v", b, err)
	}
	for _, f := range files {
		f.Close()
	}
}

// The serial library's SetReadTimeout during Read is a race, and so is its
// Close: run with -race.
func TestLineDeadlineAndCloseDuringRead(t *testing.T) {
	line := openLine(t, newTerminal(t).device)
	ended := make(chan error)
	go func() {
		_, err := line.Read(make([]byte, 1))
		ended <- err
	}()
	deadline(t, line, time.Hour)
	ctx, cancel := context.WithCancel(t.Context())
	context.AfterFunc(ctx, func() { line.Close() })
	cancel()
	select {
	case err := <-ended:
		if !errors.Is(err, os.ErrClosed) {
			t.Errorf("got %v", err)
		}
	case <-time.After(2 * time.Second):
		t.Fatal("the read did not end")
	}
}

// The serial library reports a pulled cable like one's own Close.
func TestLineUnplugged(t *testing.T) {
	x := newTerminal(t)
	line := openLine(t, x.device)
	x.pull()
	deadline(t, line, 2*time.Second)
	_, err := line.Read(make([]byte, 1))
	if err == nil || errors.Is(err, os.ErrClosed) || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("got %v", err)
	}
}

// The serial library's Read panics on a descriptor above 1023.
func TestLineAboveDescriptor1023(t *testing.T) {
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	if limit.Cur < 1200 {
		t.Fatalf("the limit of open files is %d; raise it to 1200 (ulimit -n)", limit.Cur)
	}
	x := newTerminal(t)
	for range 1100 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
	}
	line := openLine(t, x.device)
	if _, err := x.far.Write([]byte("x")); err != nil {
		t.Fatal(err)
	}
	deadline(t, line, time.Second)
	if n, err := line.Read(make([]byte, 1)); n != 1 || err != nil {
		t.Errorf("got %d, %v", n, err)
	}
	if heard, err := line.(listener).Listen(0); heard || err != nil {
		t.Errorf("Listen: %v, %v", heard, err)
	}
}

// Root is not refused a second open by the system: the lock has to do it. The
// second try runs in another process, as a second daemon would.
func TestLineIsForOneProcess(t *testing.T) {
	if device := os.Getenv("SECOND_DAEMON"); device != "" {
		_, err := OpenSerial(testPort(device))
		fmt.Println(err)
		return
	}
	x := newTerminal(t)
	line := openLine(t, x.device)
	second := func() string {
		command := exec.Command(os.Args[0], "-test.run=^TestLineIsForOneProcess$")
		command.Env = append(os.Environ(), "SECOND_DAEMON="+x.device)
		out, err := command.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return string(out)
	}
	if out := second(); !strings.Contains(out, "another program has the line; stop that program") {
		t.Errorf("the second daemon got %q", out)
	}
	if _, err := OpenSerial(testPort(x.device)); !errors.Is(err, errBusy) {
		t.Errorf("a second open of this process: %v", err)
	}
	line.Close()
	if out := second(); !strings.HasPrefix(out, "<nil>") {
		t.Errorf("after Close the second daemon got %q", out)
	}
}

func TestLineThatIsNone(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	cases := []struct{ device, want string }{
		{dir, dir + ": open: it is a directory; write the name of a serial line, flowrigd ports lists them"},
		{file, file + ": open: it is no serial line; flowrigd ports lists those of this machine"},
		{os.DevNull, os.DevNull + ": open: it is no serial line; flowrigd ports lists those of this machine"},
		{dir + "/none", dir + "/none: open: no such device; plug the cable in, or correct device (flowrigd ports lists the names)"},
	}
	for _, c := range cases {
		line, err := OpenSerial(testPort(c.device))
		if err == nil {
			line.Close()
			t.Errorf("%s was opened", c.device)
			continue
		}
		if err.Error() != c.want {
			t.Errorf("%q, want %q", err, c.want)
		}
	}
}

func TestLineTellsThatItsNameMoved(t *testing.T) {
	first, second := newTerminal(t), newTerminal(t)
	name := filepath.Join(t.TempDir(), "bus")
	link(t, first.device, name)
	line := openLine(t, name)
	if line.(mover).Moved() {
		t.Error("moved before it was")
	}
	link(t, second.device, name)
	if !line.(mover).Moved() {
		t.Error("not moved after it was")
	}
}

// link puts a symbolic link in place of another one in one step.
func link(t testing.TB, target, name string) {
	t.Helper()
	if err := os.Symlink(target, name+".new"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		t.Fatal(err)
	}
}

// A deadline of the runtime may come a millisecond late; Listen may not.
func BenchmarkListen(b *testing.B) {
	line := openLine(b, newTerminal(b).device).(listener)
	const d = 1750 * time.Microsecond
	began := time.Now()
	for range b.N {
		if heard, err := line.Listen(d); heard || err != nil {
			b.Fatal(heard, err)
		}
	}
	b.ReportMetric(float64(time.Since(began)/time.Duration(b.N)-d)/1e3, "µs-late")
}
