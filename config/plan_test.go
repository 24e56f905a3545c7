package config

import (
	"math"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
)

// A plan of a request is checked as one of the file is.
func TestNewPlan(t *testing.T) {
	c := load(t, "measuring")
	p, err := c.NewPlan(PlanText{"mine", []PointText{
		{Temperature: "25 Cel", Regimes: []string{"laminar", "transitional", "turbulent"}}, {Temperature: "313.15 K", Reynolds: []float64{1800, 2400}}}})
	if err != nil || p.Name != "mine" || len(p.Points) != 5 {
		t.Fatal(p, err)
	}
	var names []string
	for _, point := range p.Points {
		names = append(names, point.Name())
	}
	if got := strings.Join(names, "; "); got != "25 Cel, laminar; 25 Cel, transitional; 25 Cel, turbulent; 40 Cel, Re 1800; 40 Cel, Re 2400" {
		t.Error(got)
	}
	if re := p.Points[0].Reynolds; re != 1500 || p.Points[1].Reynolds != math.Sqrt(8e6) || p.Points[2].Reynolds != 6000 {
		t.Error(p.Points)
	}
	for want, text := range map[string]PlanText{
		`points: a plan without points`:                  {Name: "mine"},
		`name: an empty name`:                            {Points: []PointText{{Temperature: "25 Cel", Regimes: []string{"laminar"}}}},
		`points[0]: temperature is missing`:              {"mine", []PointText{{Regimes: []string{"laminar"}}}},
		`points[1]: "25 L": L is not the unit of a temp`: {"mine", []PointText{{Temperature: "25 Cel", Regimes: []string{"laminar"}}, {Temperature: "25 L"}}},
		`exactly one of regimes and reynolds`:            {"mine", []PointText{{Temperature: "25 Cel"}}},
		`"smooth" is not a regime`:                       {"mine", []PointText{{Temperature: "25 Cel", Regimes: []string{"smooth"}}}},
		`5 is out of range`:                              {"mine", []PointText{{Temperature: "25 Cel", Reynolds: []float64{5}}}},
		`where water-overheat can be raised`:             {"mine", []PointText{{Temperature: "74 Cel", Reynolds: []float64{1500}}}},
		`range allows: at most`:                          {"mine", []PointText{{Temperature: "25 Cel", Reynolds: []float64{90000}}}},
		`201 points are more`:                            {"mine", []PointText{{Temperature: "25 Cel", Reynolds: make200()}}},
	} {
		if _, err := c.NewPlan(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

func make200() (list []float64) {
	for i := range 201 {
		list = append(list, 1500+float64(i))
	}
	return list
}

// The most that the head gives is that of a tube without valve and mouth: at it the
// head is used up, a little above it more would be needed.
func TestMostReynolds(t *testing.T) {
	c := load(t, "measuring")
	const nu = 0.893e-6
	re := c.mostReynolds(nu)
	v, f := re*nu/c.Tube.Bore.X, 0.0
	for f = 0.02; ; { // Colebrook, solved by itself
		next := math.Pow(-2*math.Log10(c.Tube.Roughness.X/c.Tube.Bore.X/3.7+2.51/(re*math.Sqrt(f))), -2)
		if math.Abs(next-f) < 1e-12 {
			break
		}
		f = next
	}
	head := v * v / (2 * 9.80665) * (1 + f*c.Tube.Length.X/c.Tube.Bore.X)
	if most := c.Tank.Lip.X + c.Tank.Drop.X + 2*math.Hypot(c.Tank.Lip.U, c.Tank.Drop.U); math.Abs(head/most-1) > 1e-6 {
		t.Errorf("Re %.0f needs %.4f m of %.4f m", re, head, most)
	}
}

// A regime is set where the rig can have it.
func TestAim(t *testing.T) {
	c := load(t, "measuring")
	in := c.Instrument(quantity.Flow)
	in.Range = &Range{Low: 0.9e-5, High: 4e-5} // Re about 990 to 4400 at 25 °C
	p := PlannedPoint{25, quantity.Turbulent, 0}
	if m := c.aim(&p); m == nil {
		t.Error("turbulent is out of the meter's reach, and planned:", p)
	}
	in.Range.High = 4.3e-5
	if m := c.aim(&p); m != nil || p.Reynolds < 4400 || p.Reynolds > 4720 {
		t.Error(p, m)
	}
}
