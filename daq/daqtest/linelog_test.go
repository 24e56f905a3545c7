package daqtest

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

const sample = `# flowrigd line log 1
# temperature on tc
0.000100 sent 54 3F 0D # T?\r
0.020100 heard 54 3D # T=
0.021100 heard 34320D0A

1.000000 sent 54 3F 0D
1.050000 heard 54
`

func TestRead(t *testing.T) {
	log, err := Read(strings.NewReader(sample))
	Must(t, err)
	want := []Entry{
		{100 * time.Microsecond, true, []byte("T?\r")}, {20100 * time.Microsecond, false, []byte("T=")},
		{21100 * time.Microsecond, false, []byte("42\r\n")}, {time.Second, true, []byte("T?\r")}, {1050 * time.Millisecond, false, []byte("T")},
	}
	if fmt.Sprint(log) != fmt.Sprint(want) {
		t.Errorf("got %v, want %v", log, want)
	}
	if got := Heard(log); len(got) != 2 || string(got[0]) != "T=42\r\n" || string(got[1]) != "T" {
		t.Errorf("heard %q", got)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, c := range []struct{ log, want string }{
		{"# x\n0.1 sent", `line log: line 2: "0.1 sent": write a time in seconds, sent or heard, and bytes in hexadecimal`},
		{"0.1 got 00", `line log: line 1: "0.1 got 00": write a time in seconds, sent or heard, and bytes in hexadecimal`},
		{"soon sent 00", `line log: line 1: "soon": no time in seconds`},
		{"NaN sent 00", `line log: line 1: "NaN": no time in seconds`},
		{"-1 sent 00", `line log: line 1: "-1": no time in seconds`},
		{"1e30 sent 00", `line log: line 1: "1e30": no time in seconds`},
		{"0.1 sent 0", `line log: line 1: "0": no bytes in hexadecimal`},
		{"0.1 sent xx", `line log: line 1: "xx": no bytes in hexadecimal`},
		{"0.2 sent 00\n0.1 heard 00", "line log: line 2: 0.1: earlier than the entry before it"},
	} {
		if _, err := Read(strings.NewReader(c.log)); err == nil || err.Error() != c.want {
			t.Errorf("%q: %v, want %s", c.log, err, c.want)
		}
	}
}

// The far end keeps the log's times, and says when something else comes.
func TestPlay(t *testing.T) {
	log, err := Read(strings.NewReader(sample))
	Must(t, err)
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		ended := make(chan error, 1)
		go func() { ended <- Play(far, log[:3]) }()
		began := time.Now()
		if _, err := near.Write([]byte("T?\r")); err != nil {
			t.Fatal(err)
		}
		answer := make([]byte, 6)
		if _, err := io.ReadFull(near, answer); err != nil || !bytes.Equal(answer, []byte("T=42\r\n")) || time.Since(began) != 21*time.Millisecond {
			t.Errorf("%q after %v, %v", answer, time.Since(began), err)
		}
		if err := <-ended; err != nil {
			t.Error(err)
		}
		go func() { ended <- Play(far, log) }()
		if _, err := near.Write([]byte("F?\r")); err != nil {
			t.Fatal(err)
		}
		if err := <-ended; err == nil || err.Error() != "line log: entry 1: 46 3F 0D came (<nil>), the log has 54 3F 0D" {
			t.Errorf("another question: %v", err)
		}
		near.Close()
		if err := Play(far, log); err == nil {
			t.Error("a line that has ended was played on")
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(sample))
	f.Fuzz(func(t *testing.T, text []byte) {
		log, err := Read(bytes.NewReader(text))
		if err != nil {
			return
		}
		for i, e := range log {
			if e.At < 0 || len(e.Bytes) == 0 || i > 0 && e.At < log[i-1].At {
				t.Fatalf("entry %d: %+v", i, e)
			}
		}
	})
}
