package web

import (
	"context"
	"errors"
	"strings"
	"testing"
)

func TestReport(t *testing.T) {
	b := testBed(t, func(o *Options) {
		o.Report = func(_ context.Context, experiment string) ([]byte, bool, error) {
			switch experiment {
			case "gone":
				return nil, false, errors.New("experiment \"gone\": not in this recording")
			case "hung":
				return nil, true, errors.New("the disk does not answer")
			}
			return []byte("<!DOCTYPE html><p>of " + experiment), true, nil
		}
	})
	status, header, body := b.ask("GET", "/api/report?experiment=sweep-1", b.watch, "")
	if status != 200 || body != "<!DOCTYPE html><p>of sweep-1\n" || header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Errorf("%d %v %s", status, header, body)
	}
	if policy := header.Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "script") {
		t.Errorf("policy %q", policy)
	}
	for path, want := range map[string]int{
		"/api/report": 200, "/api/report?experiment=gone": 404, "/api/report?experiment=hung": 503,
		"/api/report?from=now": 400, "/api/report?experiment=a&experiment=b": 400,
	} {
		if status, _, body := b.ask("GET", path, b.watch, ""); status != want {
			t.Errorf("%s: %d %s, want %d", path, status, body, want)
		}
	}
	if status, _, _ := b.ask("POST", "/api/report", b.operate, "{}"); status != 405 {
		t.Errorf("POST: %d", status)
	}
	none := testBed(t, nil)
	none.answers(503, "GET", "/api/report", none.watch, "")
}
