package logging

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestTheLogSaysTheSameOnceInTenSeconds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		log := slog.New(Limit(slog.NewTextHandler(&out, nil)))
		for i := range 30 {
			log.Warn("no answer", "port", "bus", "tries", i)
			log.Warn("no answer", "port", "tc", "tries", i)
			time.Sleep(time.Second)
		}
		if n := strings.Count(out.String(), "port=bus"); n != 3 {
			t.Errorf("%d lines for one port in 30 s, want 3:\n%s", n, out.String())
		}
		if !strings.Contains(out.String(), "repeated=9") {
			t.Errorf("what was left out is not counted:\n%s", out.String())
		}
	})
}
