package engine

import (
	"errors"
	"fmt"
	"reflect"
	"time"

	"flowrigd/calc/dye"
	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// dyeWindow is the time of which disturbed_fraction is the share.
const dyeWindow = time.Minute

// thread is the dye as the photodiode sees it. The still thread is kept through
// reloads that do not change the instrument, and not through a restart: nobody knows
// what was turned or wiped meanwhile.
type thread struct {
	instrument *config.Instrument // nil: nothing watches the dye
	setting    dye.Setting
	bore       float64
	still      *dye.Still // nil: not taken yet
	watch      *dye.Watch // nil likewise
	taking     *dye.Taking
	who        string        // asked for the still thread
	takenAt    time.Duration // when its time is over
	dropped    bool          // a reload has changed what the still thread was being taken with
}

// adopt takes up a configuration.
func (d *thread) adopt(cfg *config.Config) {
	before, every := *d, cfg.Every(quantity.DyeLight)
	*d = thread{instrument: cfg.Instrument(quantity.DyeLight), bore: cfg.Tube.Bore.X}
	d.setting = dye.Setting{Every: every, TornAbove: cfg.Dye.TornAbove}
	switch {
	case d.instrument == nil || before.instrument == nil || !reflect.DeepEqual(*d.instrument, *before.instrument) || before.taking != nil && d.setting != before.setting:
		d.who, d.dropped = before.who, before.taking != nil
	case d.setting == before.setting:
		d.still, d.watch, d.taking, d.who, d.takenAt = before.still, before.watch, before.taking, before.who, before.takenAt
	default:
		d.begin(before.still)
	}
}

// begin watches against a still thread.
func (d *thread) begin(still *dye.Still) {
	if d.still = still; still != nil {
		d.watch = dye.NewWatch(d.setting, *still, dyeWindow)
	}
}

// noThread says why there can be no still thread in this state.
func noThread(s *daq.State) error {
	switch s.Values.Band() {
	case quantity.NoFlow:
		return errors.New("no water flows, and without flow there is no thread: open the valve until the thread is a straight line")
	case quantity.Turbulent:
		return errors.New("by the Reynolds number the flow is turbulent, and no thread is still in it: close the valve until the thread is a straight line")
	case quantity.Laminar, quantity.Transitional:
		return nil
	}
	return errors.New("the Reynolds number is not known, nor whether a thread can be still: see to flow and temperature")
}

// dyeCommand begins to take the still thread, or says why not.
func (e *Engine) dyeCommand(c *daq.Command) []daq.Event {
	if err := e.takeStill(c.Who); err != nil {
		return e.refuse(c, err)
	}
	e.reply = &daq.Reply{ID: c.ID}
	return []daq.Event{e.dyeNote(c.Who, fmt.Sprintf("is taken over the next %g s", dye.StillTime.Seconds()))}
}

func (e *Engine) takeStill(who string) error {
	d, s := &e.thread, &e.state
	switch {
	case d.instrument == nil:
		return errors.New("nothing watches the dye: configure [instruments.dye_light]")
	case !s.Quality[quantity.DyeLight].Usable():
		return fmt.Errorf("dye_light is %s: see to it, and ask again", s.Quality[quantity.DyeLight])
	case d.taking != nil:
		return fmt.Errorf("it is being taken, for another %s", daq.Seconds(d.takenAt-s.Mono))
	}
	if err := noThread(s); err != nil {
		return err
	}
	d.taking, d.who, d.takenAt = dye.NewTaking(d.setting), who, s.Mono+dye.StillTime
	return nil
}

func (e *Engine) dyeNote(who, text string) daq.Event {
	return daq.Event{Note: &daq.Note{Kind: "dye", Time: e.state.Time, Who: who, Text: "still thread " + text}}
}

// watchDye takes what the light says in this step.
func (e *Engine) watchDye(in *daq.Input) []daq.Event {
	d, s := &e.thread, &e.state
	if d.dropped {
		who := d.who
		d.dropped, d.who = false, ""
		return []daq.Event{e.dyeNote(who, "not taken: a reload has changed how the dye is watched; ask again")}
	}
	if d.instrument == nil {
		return nil
	}
	seen := in.Kind == daq.KindReading && in.Reading.Instrument == quantity.DyeLight && s.Fault == "" && s.Quality[quantity.DyeLight].Usable()
	if d.watch != nil {
		d.look(s, in.Reading.At, seen)
	} else {
		s.Warnings = append(s.Warnings[:len(s.Warnings):len(s.Warnings)], "the still thread has not been taken since the start: disturbed_fraction is unknown until it is")
	}
	if d.taking == nil {
		return nil
	}
	if seen && in.Reading.At <= d.takenAt {
		light, _ := s.Values.Get(quantity.DyeLight)
		d.taking.Add(in.Reading.At, light)
	}
	return e.endStill()
}

// look watches the thread and puts its share.
func (d *thread) look(s *daq.State, at time.Duration, seen bool) {
	light, known := s.Values.Get(quantity.DyeLight)
	switch {
	case s.Values.Band() == quantity.NoFlow: // the dye sinks where it comes out
		d.watch.Forget()
		return
	case !known:
		d.watch.Pause()
		return
	case seen:
		d.watch.Add(at, light)
	}
	v, flows := s.Values.Get(quantity.Velocity)
	past, watched := d.watch.Seen(s.Mono, dyeWindow)
	if !watched {
		return
	}
	if !flows || v <= 0 {
		v = slowest
	}
	share := past.Share(dye.Passage(v, d.bore))
	s.Values.Put(quantity.DisturbedFraction, share.Fraction)
	s.U.Put(quantity.DisturbedFraction, share.U)
}

// slowest is the velocity that is taken where none is known, m/s: of Re 2000 in 13 mm
// at 40 °C, so that a stretch of turbulence takes long to pass and is a look of few.
const slowest = 0.1

// endStill ends the taking of the still thread when its time is over, or when there can
// be none.
func (e *Engine) endStill() []daq.Event {
	d, s := &e.thread, &e.state
	err := noThread(s)
	if err == nil && s.Mono < d.takenAt {
		return nil
	}
	var still dye.Still
	if err == nil {
		still, err = d.taking.End()
	}
	who := d.who
	d.taking, d.who = nil, ""
	if err != nil {
		return []daq.Event{e.dyeNote(who, "not taken: "+err.Error())}
	}
	d.begin(&still)
	return []daq.Event{e.dyeNote(who, fmt.Sprintf("taken: light %.1f %%, flicker %.2f %% of it; torn is above %.2f %%", 100*still.Light, 100*still.Flicker, 100*still.Flicker*d.setting.TornAbove))}
}
