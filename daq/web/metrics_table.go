package web

import (
	"github.com/prometheus/client_golang/prometheus"

	"flowrigd/calc/quantity"
)

// Metric is a row of the table of metrics: a name with its help and labels.
type Metric struct {
	prometheus.Opts
	labels []string
	kind   prometheus.ValueType
	desc   *prometheus.Desc
}

// Stat is one figure of a Metric, with the values of its labels in order.
type Stat struct {
	*Metric
	Value  float64
	Labels []string
}

// The metrics beside the quantities. Figures of other parts come by Options.Stats.
var (
	// QueueDropped is there for every queue that has a bound.
	QueueDropped = counter("flowrig_queue_dropped_total", "What a bounded queue had no room for.", "queue")

	ConfigReloads = counter("flowrig_config_reloads_total", "Configurations taken up while running.")
	ConfigRefused = counter("flowrig_config_refused_total", "Configurations refused while running.")

	MQTTConnected    = gauge("flowrig_mqtt_connected", "Whether the broker is connected.")
	MQTTConnections  = counter("flowrig_mqtt_connections_total", "Connections made to the broker.")
	MQTTPublished    = counter("flowrig_mqtt_published_total", "Messages handed to the connection.")
	MQTTAcknowledged = counter("flowrig_mqtt_acknowledged_total", "Messages that the broker acknowledged.")
	MQTTRetried      = counter("flowrig_mqtt_retried_total", "Messages sent again for want of an acknowledgement.")

	NotifyAttempts  = counter("flowrig_notify_attempts_total", "Attempts to tell a receiver of alarms.", "receiver")
	NotifyFailed    = counter("flowrig_notify_failed_total", "Attempts that failed.", "receiver")
	NotifyDelivered = counter("flowrig_notify_delivered_total", "Alarm messages that a receiver took.", "receiver")
	NotifyWaiting   = gauge("flowrig_notify_waiting", "Alarm messages that wait for a receiver.", "receiver")

	RecordNewest           = gauge("flowrig_record_newest_sequence", "Sequence of the newest row on disk.")
	RecordWaiting          = gauge("flowrig_record_waiting", "Batches that wait for the disk.")
	RecordSize             = gauge("flowrig_record_size_bytes", "What the recording takes of its disk.")
	RecordLimit            = gauge("flowrig_record_limit_bytes", "What the recording can come to: record.max_size, or what the disk has room for.")
	RecordGrowth           = gauge("flowrig_record_growth_bytes_per_second", "How fast the recording grows, over the last day of this run.")
	RecordFull             = gauge("flowrig_record_full_seconds", "Time until the recording is full at this rate; absent where what is old goes first.")
	RecordPermitFileFailed = counter("flowrig_record_permit_file_failed_total", "Attempts that failed to keep what holds the heating permit outside the recording.")

	followers = gauge("flowrig_http_followers", "Open streams of events.")
	displaced = counter("flowrig_http_connections_displaced_total", "Connections closed to make room for others.")
	checkOK   = gauge("flowrig_check_ok", "Whether a part that /readyz asks for works.", "check")
	buildInfo = gauge("flowrig_build_info", "What is running.", "version", "commit", "goversion")

	regime    = gauge("flowrig_regime", quantity.Table[quantity.Regime].Help, "site", "rig", "regime")
	stateTime = gauge("flowrig_state_timestamp_seconds", "When the newest state was computed, in Unix seconds.", "site", "rig")

	instrumentUsable = gauge("flowrig_instrument_usable", "Whether the reading is good enough to compute with.", "instrument")
	instrumentReads  = counter("flowrig_instrument_reads_total", "Exchanges with an instrument, good and bad.", "instrument")
	instrumentErrors = counter("flowrig_instrument_errors_total", "Exchanges that gave no good reading, by reason.", "instrument", "reason")
	instrumentTook   = gauge("flowrig_instrument_read_duration_seconds", "Length of an exchange with an instrument.", "instrument") // a histogram
	instrumentLast   = gauge("flowrig_instrument_last_reading_timestamp_seconds", "When the last good reading came, in Unix seconds.", "instrument")

	alarmActive         = gauge("flowrig_alarm_active", "1 while the alarm stands, or its cause is gone and it is latched until a person resets it; 0 while it is shelved, suppressed or out of service.", "alarm", "priority")
	alarmUnacknowledged = gauge("flowrig_alarm_unacknowledged", "1 while the alarm waits for a person's acknowledgement, its cause gone or not; 0 while it is shelved, suppressed or out of service.", "alarm", "priority")
	alarmShelved        = gauge("flowrig_alarm_shelved", "1 while the alarm is shelved: it notifies nobody, and one that trips still trips the heating permit.", "alarm", "priority")
	alarmOutOfService   = gauge("flowrig_alarm_out_of_service", "1 while the alarm is out of service or suppressed: it notifies nobody and trips nothing.", "alarm", "priority")

	permitGiven     = gauge("flowrig_permit_given", "1 while the heating permit is given by a person, in a proof test too; absent without an output.", "site", "rig")
	permitProofTest = gauge("flowrig_permit_proof_test", "1 while a proof test has dropped the heating permit, which comes back by itself; absent without an output.", "site", "rig")
	permitTripped   = gauge("flowrig_permit_tripped", "1 while the alarm holds the heating permit off until a person resets it, shelved or not; absent for an alarm that does not trip.", "alarm", "priority")
	permitWithout   = gauge("flowrig_permit_without", "1 while the heating permit is given without this alarm, which is out of service; absent for an alarm that does not trip.", "alarm", "priority")
)

// quantities are the metrics of calc/quantity's table.
var quantities = func() (list [quantity.Count]Metric) {
	for id := range list {
		row := quantity.Table[id]
		list[id] = gauge("flowrig_"+row.Name, row.Help, "site", "rig")
	}
	return list
}()

func gauge(name, help string, labels ...string) Metric {
	return Metric{prometheus.Opts{Name: name, Help: help}, labels, prometheus.GaugeValue, prometheus.NewDesc(name, help, labels, nil)}
}

func counter(name, help string, labels ...string) Metric {
	m := gauge(name, help, labels...)
	m.kind = prometheus.CounterValue
	return m
}

// Of is a figure of this metric; labels are the values of its labels, in order.
func (m *Metric) Of(figure float64, labels ...string) Stat { return Stat{m, figure, labels} }

// If is the figure 1 for yes, 0 for no.
func (m *Metric) If(yes bool, labels ...string) Stat {
	if yes {
		return m.Of(1, labels...)
	}
	return m.Of(0, labels...)
}
