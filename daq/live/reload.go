package live

import (
	"reflect"

	"flowrigd/config"
	"flowrigd/daq/engine"
)

// NeedsRestart says why a right configuration cannot take over while the daemon
// runs; "" where it can.
func NeedsRestart(old, cfg *config.Config) string {
	embedded := func(c *config.Config) bool { return c.MQTT != nil && c.MQTT.Embedded }
	switch {
	case cfg.Site != old.Site || cfg.Rig != old.Rig:
		return "site and rig name the recording and the topics: restart the daemon to change them"
	case cfg.Record.Directory != old.Record.Directory:
		return "record.directory is taken up at a start: restart the daemon to change it"
	case cfg.HTTP != old.HTTP:
		return "[http] is taken up at a start: restart the daemon to change it"
	case !reflect.DeepEqual(old.Trip, cfg.Trip):
		return "[trip] is taken up at a start: restart the daemon to change it"
	case !config.SameOutput(old, cfg):
		return "ports." + old.Trip.Port + " leads to the relay of the heating permit and is taken up at a start, all of it: restart the daemon to change it"
	case embedded(old) != embedded(cfg):
		return "the embedded broker starts and ends with the daemon: restart it to change that"
	}
	// The engine takes it up last, when all others have moved: it is asked first.
	if _, err := engine.New(cfg, nil); err != nil {
		return err.Error()
	}
	return ""
}

// Unchanged are the instruments that both configurations have alike.
func Unchanged(old, cfg *config.Config) (list []config.Instrument) {
	for _, in := range cfg.Instruments {
		if before := old.Instrument(in.ID); before != nil && reflect.DeepEqual(*before, in) {
			list = append(list, in)
		}
	}
	return list
}
