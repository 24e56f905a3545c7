package main

import (
	"context"
	"errors"
	"reflect"
	"sync/atomic"

	"flowrigd/config"
)

// reloads counts what SIGHUP did.
type reloads struct{ taken, refused atomic.Int64 }

// runReloads reloads on SIGHUP.
func (d *daemon) runReloads(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-d.w.reload:
			d.reload()
		}
	}
}

// reload reads the configuration again. A valid file takes over; an invalid one
// is refused, logged, counted and journalled, and the old one stays.
func (d *daemon) reload() {
	old := d.cfg.Load()
	cfg, problems := config.Load(old.Path)
	for _, p := range problems {
		d.log.Warn("configuration", "problem", p.String())
	}
	if why := needsRestart(old, cfg, problems); why != "" {
		d.refuseReload(why)
		return
	}
	tell, err := d.newSinks(old, cfg)
	if err == nil {
		err = d.move(old, cfg)
	}
	if err != nil {
		d.refuseReload(err.Error())
		return
	}
	d.recording.Adjust(retentionOf(cfg.Record))
	d.cfg.Store(cfg)
	d.replaceSinks(tell)
	d.server.SetFacts(facts(cfg))
	d.reloads.taken.Add(1)
	d.log.Info("configuration reloaded", "sha256", cfg.SHA256)
}

// move lets instruments and engine change over. What changes is not read in
// between, so that no number is taken for what the other configuration means
// by it; what stays loses no reading.
func (d *daemon) move(old, cfg *config.Config) error {
	if err := d.manager.Reload(cfg.Ports, unchanged(old, cfg)); err != nil {
		return err
	}
	if err := d.loop.Reload(cfg); err != nil {
		return errors.Join(err, d.manager.Reload(old.Ports, old.Instruments))
	}
	return d.manager.Reload(cfg.Ports, cfg.Instruments)
}

// unchanged are the instruments that both configurations have alike.
func unchanged(old, cfg *config.Config) []config.Instrument {
	var list []config.Instrument
	for _, in := range cfg.Instruments {
		if before := old.Instrument(in.ID); before != nil && reflect.DeepEqual(*before, in) {
			list = append(list, in)
		}
	}
	return list
}

func (d *daemon) refuseReload(why string) {
	d.log.Error("reload refused; the old configuration stays", "why", why)
	d.reloads.refused.Add(1)
	d.loop.Note("reload", "", "refused; the old configuration stays: "+why)
}

// needsRestart says why a configuration cannot take over while the daemon runs.
func needsRestart(old, cfg *config.Config, problems []config.Problem) string {
	switch {
	case config.Fatal(problems):
		return "the file is wrong: run flowrigd check"
	case cfg.Site != old.Site || cfg.Rig != old.Rig:
		return "site and rig name the recording and the topics: restart the daemon to change them"
	case cfg.Record.Directory != old.Record.Directory:
		return "record.directory is taken up at a start: restart the daemon to change it"
	case cfg.HTTP != old.HTTP:
		return "[http] is taken up at a start: restart the daemon to change it"
	case !same(old.Trip, cfg.Trip):
		return "[trip] is taken up at a start: restart the daemon to change it"
	case !config.SameOutput(old, cfg):
		return "ports." + old.Trip.Port + " leads to the relay of the heating permit and is taken up at a start, all of it: restart the daemon to change it"
	case embedded(old) != embedded(cfg):
		return "the embedded broker starts and ends with the daemon: restart it to change that"
	}
	return ""
}

// same compares what two pointers point at.
func same[T comparable](a, b *T) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
