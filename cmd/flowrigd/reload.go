package main

import (
	"context"
	"errors"
	"sync/atomic"

	"flowrigd/config"
	"flowrigd/daq/live"
	"flowrigd/daq/web"
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
	if config.Fatal(problems) {
		d.refuseReload("the file is wrong: run flowrigd check")
		return
	}
	if why := live.NeedsRestart(old, cfg); why != "" {
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
	d.server.SetFacts(web.FactsOf(cfg))
	d.reloads.taken.Add(1)
	d.log.Info("configuration reloaded", "sha256", cfg.SHA256)
}

// move lets instruments and engine change over. What changes is not read in
// between, so that no number is taken for what the other configuration means
// by it; what stays loses no reading.
func (d *daemon) move(old, cfg *config.Config) error {
	if err := d.manager.Reload(cfg.Ports, live.Unchanged(old, cfg)); err != nil {
		return err
	}
	if err := d.loop.Reload(cfg); err != nil {
		return errors.Join(err, d.manager.Reload(old.Ports, old.Instruments))
	}
	return d.manager.Reload(cfg.Ports, cfg.Instruments)
}

func (d *daemon) refuseReload(why string) {
	d.log.Error("reload refused; the old configuration stays", "why", why)
	d.reloads.refused.Add(1)
	d.loop.Note("reload", "", "refused; the old configuration stays: "+why)
}
