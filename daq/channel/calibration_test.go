package channel

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
)

// certified is a thermometer with a certificate of 2026-05-01.
func certified() config.Instrument {
	return config.Instrument{
		ID: quantity.Temperature, Name: "temperature", Every: 500 * time.Millisecond, StaleAfter: 2 * time.Second,
		Unit: &config.Unit{Text: "Cel", Factor: 1},
		Calibration: &config.Calibration{
			Fixed: 0.025, OfReading: 0.001, DriftFixed: 0.02 / 31_557_600, DriftOfReading: 0.0005 / 31_557_600,
			Date: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC),
		},
	}
}

// Oracle: by hand at 50 °C. The certificate gives 0.025 K + 0.001 × 50 K = 0.075 K;
// two Julian years of drift (0.02 K + 0.0005 × 50 K) × 2 = 0.09 K as limits, 0.05196 K.
// A clock that has lost its date counts no drift.
func TestCertificate(t *testing.T) {
	for _, c := range []struct {
		name            string
		wall            time.Time
		dominant, other float64
	}{
		{"the day itself", time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), 0.075, 0},
		{"two years later", time.Date(2028, 4, 30, 12, 0, 0, 0, time.UTC), 0.075, 0.09 / math.Sqrt(3)},
		{"a clock of 1970", time.Unix(0, 0), 0.075, 0},
	} {
		channel := New(certified())
		channel.Date(c.wall)
		channel.Take(clean(quantity.Temperature, time.Second, 50), nil)
		m := channel.At(time.Second)
		if !near(m.DominantU, c.dominant, 1e-9) || m.Shape != uncertainty.Normal || math.Abs(m.OtherU-c.other) > 1e-6 {
			t.Errorf("%s: %v and %v, %v; want %v and %v", c.name, m.DominantU, m.OtherU, m.Shape, c.dominant, c.other)
		}
	}
}

// What a drift adds outweighs the certificate in the end, and is rectangular then.
func TestDriftOutweighsTheCertificate(t *testing.T) {
	channel := New(certified())
	channel.Date(time.Date(2036, 5, 1, 0, 0, 0, 0, time.UTC))
	channel.Take(clean(quantity.Temperature, time.Second, 50), nil)
	m := channel.At(time.Second)
	// ten years: (0.02 + 0.025) × 10 = 0.45 K, ÷ √3 = 0.2598 K
	if !near(m.DominantU, 0.2598, 1e-3) || m.Shape != uncertainty.Rectangular || !near(m.OtherU, 0.075, 1e-9) {
		t.Errorf("%v, %v, %v", m.DominantU, m.Shape, m.OtherU)
	}
}

// A certificate says nothing of the scatter of single readings: all of it counts.
// Under the maker's limits of the same standard uncertainty half of them covers it.
func TestScatterBesideACertificate(t *testing.T) {
	in := certified()
	in.Calibration.OfReading, in.Calibration.DriftFixed, in.Calibration.DriftOfReading = 0, 0, 0
	limits := certified()
	limits.Calibration, limits.Accuracy = nil, &config.Accuracy{Fixed: 0.025 * math.Sqrt(3)}
	const sigma = 0.012
	other := func(in config.Instrument) float64 {
		r := rand.New(rand.NewPCG(3, 4))
		channel := New(in)
		var sum float64
		for i := range 400 {
			at := time.Duration(i) * in.Every
			channel.Take(clean(in.ID, at, 50+sigma*r.NormFloat64()), nil)
			if i >= 200 {
				m := channel.At(at)
				sum += m.OtherU * m.OtherU / 200
			}
		}
		return math.Sqrt(sum)
	}
	if u := other(in); !near(u, sigma, 0.15) {
		t.Errorf("scatter beside a certificate %v, want %v", u, sigma)
	}
	if u := other(limits); u > 0.4*sigma {
		t.Errorf("scatter within the maker's limits %v", u)
	}
}

// Oracle: the larger of the two points' uncertainties between them, the end's beyond.
func TestCorrectionHasAnUncertainty(t *testing.T) {
	in := levelLoop()
	in.Accuracy = &config.Accuracy{Fixed: 0.0001}
	in.Correct = []config.CorrectPoint{{Indicated: 0, True: 0, U: 0.001}, {Indicated: 0.2, True: 0.2, U: 0.002}, {Indicated: 0.4, True: 0.4, U: 0.0005}}
	for number, want := range map[float64]float64{3900: 0.001, 4000: 0.002, 8000: 0.002, 16000: 0.002, 20000: 0.0005} {
		if m := takeOne(in, number); !near(m.DominantU, want, 1e-12) || m.Shape != uncertainty.Normal {
			t.Errorf("%v: %v, %v; want %v", number, m.DominantU, m.Shape, want)
		}
	}
}
