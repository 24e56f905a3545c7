// Package dashboards owns what people look at: the templates, style and
// scripts of the page, and the alert rules for a metrics server with their
// unit tests.
//
//	Files → web server → browser;  alerts.yml → Prometheus-compatible server
//
// It holds files alone and computes nothing.
package dashboards

import "embed"

// Files are the templates and assets/.
//
//go:embed page.html hall.html parts.html bench.html simulator.html assets
var Files embed.FS
