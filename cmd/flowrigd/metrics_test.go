//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// lint asks promtool, which nobody here wrote, about the metrics.
func lint(t *testing.T, at, state string) {
	t.Helper()
	status, body := get("http://" + at + "/metrics")
	if status != http.StatusOK || !strings.Contains(body, "flowrig_build_info{") {
		t.Fatalf("%s: /metrics says %d %s", state, status, body)
	}
	c := exec.Command(daqtest.Program(t, "promtool", "prometheus"), "check", "metrics")
	c.Stdin = strings.NewReader(body)
	if out, err := c.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%s: promtool check metrics: %v\n%s", state, err, out)
	}
}

// TestMetricsAreClean has promtool check the metrics of a fresh daemon, of one
// with all instruments good, with an alarm, with the broker away, and with
// instruments whose cable is pulled.
func TestMetricsAreClean(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	tables := "\n[alarms.water-overheat]\non_delay = \"0 s\"\n" + mqttTable("tcp://"+daqtest.FreeAddress(t))
	start(t, program, "run", "--config", b.config(at, tables))
	within(t, 10*time.Second, "metrics", func() bool { status, _ := get("http://" + at + "/metrics"); return status == 200 })
	lint(t, at, "fresh")
	within(t, 10*time.Second, "a good state", func() bool { return allGood(now(at)) })
	lint(t, at, "good")
	b.set(func(b *handBench) { b.celsius = 80 })
	within(t, 5*time.Second, "the alarm's metric", func() bool { return metric(at, `flowrig_alarm_active{alarm="water-overheat",priority="high"}`) == 1 })
	lint(t, at, "alarm")
	b.bus.pull()
	within(t, 5*time.Second, "flow is bad and Re unknown", func() bool {
		return strings.HasPrefix(qualityOf(at, "flow"), "bad: ") && math.IsNaN(metric(at, reynoldsMetric))
	})
	lint(t, at, "cable pulled")
}

const reynoldsMetric = `flowrig_reynolds_number{rig="bench-3",site="north-hall"}`

// metric is the value of one series of /metrics; NaN when it is not there.
func metric(at, series string) float64 {
	_, body := get("http://" + at + "/metrics")
	for _, line := range strings.Split(body, "\n") {
		if text, found := strings.CutPrefix(line, series+" "); found {
			v, _ := strconv.ParseFloat(text, 64)
			return v
		}
	}
	return math.NaN()
}

// TestPrometheusScrapes lets a real Prometheus scrape the daemon: a query
// gives the Reynolds number, and nothing once it is unknown.
func TestPrometheusScrapes(t *testing.T) {
	t.Parallel()
	b, at, server := newHandBench(t), daqtest.FreeAddress(t), daqtest.FreeAddress(t)
	running(t, b.config(at, ""), at)
	conf := write(t, filepath.Join(b.dir, "scrape.yml"), fmt.Sprintf(
		"global: {scrape_interval: 500ms, scrape_timeout: 500ms}\nscrape_configs:\n- job_name: flowrigd\n  static_configs:\n  - targets: [%q]\n", at))
	start(t, daqtest.Program(t, "prometheus", "prometheus"), "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(b.dir, "series"), "--web.listen-address="+server)
	within(t, 20*time.Second, "the server knows the Reynolds number", func() bool { return !math.IsNaN(query(server, "flowrig_reynolds_number")) })
	want, _ := now(at)["reynolds_number"].(float64)
	if got := query(server, "flowrig_reynolds_number"); math.Abs(got-want) > 1e-6*want {
		t.Errorf("the server says Re %v, the daemon %v", got, want)
	}
	if got := query(server, `up{job="flowrigd"}`); got != 1 {
		t.Errorf("up is %v", got)
	}
	b.bus.pull()
	within(t, 10*time.Second, "the server knows no Reynolds number any more", func() bool {
		return math.IsNaN(query(server, "flowrig_reynolds_number")) && query(server, `flowrig_instrument_usable{instrument="flow"}`) == 0
	})
}

// query asks a Prometheus server for one value now; NaN when it has none.
func query(server, expression string) float64 {
	status, body := get("http://" + server + "/api/v1/query?query=" + url.QueryEscape(expression))
	var answer struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	if status != http.StatusOK || json.Unmarshal([]byte(body), &answer) != nil || len(answer.Data.Result) != 1 {
		return math.NaN()
	}
	text, _ := answer.Data.Result[0].Value[1].(string)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}
