package web

import (
	"errors"
	"fmt"
	"net/http"

	"flowrigd/calc/explain"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

// working answers with the worked steps from the present readings to the present Re,
// as `flowrigd calc --explain` writes them.
func (s *Server) working(w http.ResponseWriter, _ *http.Request) {
	text := ""
	state, err := s.current()
	if err == nil {
		text, err = workingOf(state, s.facts.Load())
	}
	if err != nil {
		fail(w, problem{Status: http.StatusServiceUnavailable, Detail: err.Error()})
		return
	}
	writeBody(w, http.StatusOK, "text/plain; charset=utf-8", []byte(text))
}

func workingOf(state *daq.State, f *Facts) (string, error) {
	words := map[string]string{
		"laminar-below": fmt.Sprint(f.LaminarBelow), "turbulent-above": fmt.Sprint(f.TurbulentAbove),
		"orientation": [...]string{pipe.VerticalDown: "vertical-down", pipe.VerticalUp: "vertical-up", pipe.Horizontal: "horizontal"}[f.Tube.Orientation],
		"bore":        length(f.Tube.Bore), "length": length(f.Tube.Length), "roughness": length(f.Tube.Roughness),
		"outer": length(f.Tube.Outer), "watched-at": length(f.Tube.WatchedAt),
	}
	for _, r := range []struct {
		flag   string
		id     quantity.ID
		unit   string
		spread string
		factor float64
	}{{"flow", quantity.Flow, "L/min", "L/min", 1.0 / 60000}, {"temperature", quantity.Temperature, "Cel", "K", 1},
		{"head", quantity.Head, "mm", "mm", 1e-3}, {"ambient", quantity.Ambient, "Cel", "K", 1}} {
		v, known := state.Values.Get(r.id)
		if !known {
			continue
		}
		words[r.flag] = fmt.Sprintf("%.5g %s", v/r.factor, r.unit)
		if u, stated := state.U.Get(r.id); stated && u > 0 {
			words[r.flag] += fmt.Sprintf(" ± %.3g %s", 2*u/r.factor, r.spread)
		}
	}
	if words["ambient"] == "" && f.Tube.Room.U > 0 {
		words["ambient"] = fmt.Sprintf("%.4g Cel ± %.3g K", f.Tube.Room.X, 2*f.Tube.Room.U)
	}
	for _, flag := range []string{"flow", "temperature"} {
		if words[flag] == "" {
			return "", errors.New("there is no Re to work out: the " + flag + " is not known")
		}
	}
	reading, err := config.ParseReading(func(flag string) string { return words[flag] })
	if err != nil {
		return "", err
	}
	answer, err := explain.Solve(reading)
	if err != nil {
		return "", err
	}
	return answer.Working(), nil
}

// length writes one of the configuration; "" where it is not stated.
func length(v uncertainty.Value) string {
	if v.X == 0 {
		return ""
	}
	text := fmt.Sprintf("%.6g mm", 1000*v.X)
	if v.U > 0 {
		text += fmt.Sprintf(" ± %.3g mm", 2000*v.U)
	}
	return text
}
