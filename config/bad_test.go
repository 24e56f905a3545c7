package config

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// badFiles lists every file of ../testdata/rigs/bad with all that is said of it, in
// order; the file's name before each line is left out here.
var badFiles = []struct {
	name string
	want []string
}{
	{"accuracy-dimension", []string{
		`34:21: instruments.temperature.accuracy.fixed: "1.5 mV": mV is not the unit of a temperature difference; write one of K, Cel, degF`,
	}},
	{"accuracy-empty", []string{
		`34:1: instruments.temperature.accuracy: no figure; write of_reading, of_span or fixed`,
	}},
	{"accuracy-span", []string{
		`40:23: instruments.level.accuracy.of_span: the span is not known; write range beside accuracy`,
	}},
	{"alarm-below-nothing", []string{
		`49:9: alarms.soon: the limit of 0 s is never passed: the seconds to overheat is never below 0 s; write a limit within that`,
	}},
	{"alarm-boiling", []string{
		`49:9: alarms.water-overheat.above: water boils at 94.6 Cel at an altitude of 1600 m and never passes 95 Cel; write a limit below boiling`,
	}},
	{"alarm-deadband", []string{
		`48:12: alarms.water-overheat.deadband: "-2 K" is below zero; write it without the minus`,
	}},
	{"alarm-default-out-of-range", []string{
		`33:10: alarms.water-overheat: the limit of 75 Cel is never passed within the range of instruments.temperature, 0 Cel to 70 Cel; change the limit, the deadband or the range`,
	}},
	{"alarm-derived-deadband", []string{
		`49:9: alarms.fast: with a deadband of 3000 it never clears: the Reynolds number is never below 0; change the limit or the deadband`,
	}},
	{"alarm-dimension", []string{
		`49:9: alarms.fast.above: "1 m": m is not the unit of a velocity; write one of m/s, cm/s, mm/s`,
	}},
	{"alarm-empty-action", []string{
		`48:10: alarms.water-overheat.action: "" is not a sentence; write one sentence of up to 500 bytes, or leave the key out`,
	}},
	{"alarm-fault-limit", []string{
		`48:1: alarms.instrument-fault-flow.above: unknown key; write one of on_delay, off_delay, latch, trip, priority, cause, consequence, action, or leave it out`,
	}},
	{"alarm-fault-nobody", []string{
		`47:9: alarms.instrument-fault-tank: there is no instrument tank in this file; write [instruments.tank], or leave the alarm out`,
	}},
	{"alarm-fights-deadband", []string{
		`53:9: alarms.hot above 42 Cel fights alarms.warm below 41 Cel: with their deadbands of 2 K and 2 K what clears one raises the other; write limits further apart, or smaller deadbands`,
	}},
	{"alarm-fights", []string{
		`49:9: alarms.water-overheat above 75 Cel fights alarms.cold below 80 Cel: with their deadbands of 2 K and 2 K what clears one raises the other; write limits further apart, or smaller deadbands`,
	}},
	{"alarm-head-reach", []string{
		`49:9: alarms.high-head: the limit of 2 m is never passed: the head lies between 1.1 m and 1.5 m; write a limit within that`,
	}},
	{"alarm-ice", []string{
		`48:9: alarms.water-overheat.above: water is ice at -198.15 Cel; write a temperature of water, such as "75 Cel"`,
	}},
	{"alarm-latch", []string{
		`50:9: alarms.fast.latch: text where yes or no belongs; write true or false without quotes`,
	}},
	{"alarm-max-fall-unit", []string{
		`52:12: alarms.temperature-implausible.max_fall: "0.5 K": K is not the unit of a rate of temperature; write one of K/s, K/min, K/h`,
	}},
	{"alarm-max-fall", []string{
		`52:12: alarms.temperature-implausible.max_fall: "-0.5 K/s" is not above zero; write a rate of temperature such as "5 K/min"`,
	}},
	{"alarm-name", []string{
		`47:9: alarms.Fast_flow: not a name for an alarm; write small letters, digits and hyphens between them`,
	}},
	{"alarm-never-clears", []string{
		`48:12: alarms.water-overheat: with a deadband of 80 K it never clears within the range of instruments.temperature, 0 Cel to 110 Cel; change the limit, the deadband or the range`,
	}},
	{"alarm-no-broker", []string{
		`47:9: alarms.broker-lost: there is no broker in this file; write [mqtt], or leave the alarm out`,
	}},
	{"alarm-no-heater", []string{
		`47:9: alarms.heating-without-supply: there is no heater in this file; write [trip] or [instruments.heater_on], or leave the alarm out`,
		`50:9: alarms.temperature-implausible: there is no heater in this file; write [trip] or [instruments.heater_on], or leave the alarm out`,
	}},
	{"alarm-no-limit", []string{
		`47:9: alarms.fast: the limit is missing; write above or below`,
	}},
	{"alarm-no-on", []string{
		`47:9: alarms.water-overheet.on is missing; write [alarms.water-overheat] if you mean the built-in one, or on = "velocity"`,
	}},
	{"alarm-no-permit", []string{
		`47:9: alarms.trip-ineffective: there is no heating permit in this file; write [trip], or leave the alarm out`,
	}},
	{"alarm-no-rate", []string{
		`47:9: alarms.temperature-rising-fast: there is no largest rate in this file; write tube.max_rate, such as max_rate = "5 K/min", or leave the alarm out`,
	}},
	{"alarm-no-receiver", []string{
		`47:9: alarms.receiver-failed: there is no receiver in this file; write [[notify]], or leave the alarm out`,
	}},
	{"alarm-no-supply", []string{
		`20:2: warning: neither supply_flow nor supply_on is measured: dry heating is not detected; fit a hard-wired flow interlock and cut-out, and write [instruments.supply_flow] or [instruments.supply_on] where there is one`,
		`47:9: alarms.heating-without-supply: no supply is measured in this file; write [instruments.supply_flow] or [instruments.supply_on], or leave the alarm out`,
	}},
	{"alarm-on-built-in", []string{
		`48:1: alarms.water-overheat.on: a built-in alarm has its own; leave on out, or give your alarm another name`,
	}},
	{"alarm-on-full-name", []string{
		`48:6: alarms.fast.on: "velocity_meters_per_second" is not a quantity; write "velocity", without the unit`,
	}},
	{"alarm-on-not-there", []string{
		`48:6: alarms.fast.on: there is no instrument ambient in this file; write [instruments.ambient], or leave the alarm out`,
	}},
	{"alarm-on-typo", []string{
		`48:6: alarms.fast.on: "velocty" is not a quantity; write "velocity"`,
	}},
	{"alarm-on-word", []string{
		`48:6: alarms.fast.on: "regime" is not a number and has no limit; write a quantity with a number, such as "velocity"`,
	}},
	{"alarm-out-of-range", []string{
		`48:9: alarms.water-overheat: the limit of 120 Cel is never passed within the range of instruments.temperature, 0 Cel to 110 Cel; change the limit, the deadband or the range`,
	}},
	{"alarm-priority", []string{
		`50:12: alarms.fast.priority: "urgent" is not known here; write one of "high", "medium", "low"`,
	}},
	{"alarm-probability", []string{
		`49:9: alarms.sure: the limit of 1.5 is never passed: the probability above limits lies between 0 and 1; write a limit within that`,
	}},
	{"alarm-rate-above", []string{
		`49:1: alarms.temperature-rising-fast.above: its limit is tube.max_rate; write tube.max_rate, and leave above out`,
	}},
	{"alarm-rate-same", []string{
		`50:9: alarms.too-fast says the same as alarms.temperature-rising-fast: both are raised when temperature rate passes 5 K/min; leave one out, or write another limit`,
	}},
	{"alarm-same", []string{
		`49:9: alarms.hot says the same as alarms.water-overheat: both are raised when temperature passes 75 Cel; leave one out, or write another limit`,
	}},
	{"alarm-supply-limit", []string{
		`52:9: alarms.heating-without-supply: the limit of 30 L/min is never passed within the range of instruments.supply_flow, 1 L/min to 20 L/min; change the limit, the deadband or the range`,
	}},
	{"alarm-supply-on-limit", []string{
		`52:1: alarms.heating-without-supply.below: unknown key; write one of on_delay, off_delay, latch, trip, priority, cause, consequence, action, or leave it out`,
	}},
	{"alarm-two-limits", []string{
		`50:1: alarms.fast: above and below stand together; write only one of them`,
	}},
	{"alarm-velocity-reach", []string{
		`49:9: alarms.fast: the limit of 3 m/s is never passed: the velocity lies between 0 m/s and 1.51611 m/s; write a limit within that`,
	}},
	{"alarm-wrong-side", []string{
		`48:1: alarms.water-overheat.below: unknown key; write one of above, deadband, on_delay, off_delay, latch, trip, priority, cause, consequence, action, or leave it out`,
	}},
	{"alarm-wrong-unit", []string{
		`48:9: alarms.water-overheat.above: "75 kPa": kPa is not the unit of a temperature; write one of Cel, °C, K, degF`,
	}},
	{"zone-abbreviation", []string{
		`3:8: zone: "CEST" is not a time zone; write a name of the IANA database, such as "Etc/UTC", or leave zone out for this machine's own`,
	}},
	{"zone-number", []string{
		`3:8: zone: the number 2 where text belongs; write text in quotes, such as zone = "Etc/UTC"`,
	}},
	{"altitude-high", []string{
		`3:12: altitude: "12 km" is out of range; write a length from -430 m to 6000 m`,
	}},
	{"baud-text", []string{
		`17:8: ports.tc.baud: text is not a rate of serial lines; write the instrument's rate without quotes, such as 9600, 19200 or 115200`,
	}},
	{"baud", []string{
		`17:8: ports.tc.baud: the number 9601 is not a rate of serial lines; write the instrument's rate without quotes, such as 9600, 19200 or 115200`,
	}},
	{"bore-infinite", []string{
		`5:8: tube.bore: "1e999 mm": the number is too large; write a length such as "13 mm"`,
	}},
	{"bore-missing", []string{
		`4:2: tube.bore is missing; write bore = "13.00 mm ± 0.04 mm"`,
	}},
	{"bore-nan", []string{
		`5:8: tube.bore: "nan mm": no number at the beginning; write a length such as "13 mm"`,
	}},
	{"bore-negative", []string{
		`5:8: tube.bore: "-13 mm" is out of range; write a length from 0.1 mm to 1 m`,
	}},
	{"bore-no-space", []string{
		`5:8: tube.bore: "13mm": no space between number and unit; write "13 mm"`,
	}},
	{"bore-no-unit", []string{
		`5:8: tube.bore: "13.00": the unit is missing; write a length such as "13 mm"`,
	}},
	{"bore-spread-large", []string{
		`5:8: tube.bore: "13 mm ± 13 mm": the uncertainty is as large as the length; measure it better, or check the unit behind ±`,
	}},
	{"bore-spread-unit", []string{
		`5:8: tube.bore: "13 mm ± 0.04 K": behind ±: K is not the unit of a length; write one of mm, cm, m, in`,
	}},
	{"bore-wrong-unit", []string{
		`5:8: tube.bore: "13.00 mL": mL is not the unit of a length; write one of mm, cm, m, in`,
	}},
	{"bore-zero", []string{
		`5:8: tube.bore: "0 mm" is out of range; write a length from 0.1 mm to 1 m`,
	}},
	{"checksum-modbus", []string{
		`24:12: instruments.flow.checksum: Modbus has its own; leave checksum out`,
	}},
	{"checksum-unknown", []string{
		`30:12: instruments.temperature.checksum: "md5" is not known here; write one of "none", "xor", "sum", "crc16"`,
	}},
	{"conversation-none", []string{
		`27:14: instruments.temperature: the conversation is missing; write one of modbus, query, stream`,
	}},
	{"conversation-two", []string{
		`30:1: instruments.temperature: query and stream stand together; write only one of them`,
	}},
	{"correct-empty-point", []string{
		`40:1: instruments.level.correct: a point that is not two values; write at least two points, indicated and true, such as [["0 mm", "1.2 mm"], ["400 mm", "399.1 mm"]]`,
	}},
	{"correct-falling", []string{
		`40:31: instruments.level.correct: the point does not lie above the one before it; write the points in rising order, indicated and true`,
	}},
	{"correct-one", []string{
		`40:13: instruments.level.correct: a calibration of fewer than two points; write at least two points, indicated and true, such as [["0 mm", "1.2 mm"], ["400 mm", "399.1 mm"]]`,
	}},
	{"device-missing", []string{
		"15:8: ports.tc.device is missing; write device = \"/dev/serial/by-id/usb-rs485-0\", see `flowrigd ports`",
	}},
	{"device-twice", []string{
		`16:10: ports.tc.device: /dev/serial/by-id/usb-rs485-0 is the device of ports.bus too; write another device, or put the instruments on one port`,
	}},
	{"drop-below", []string{
		`10:8: tank.drop: the lip would be 850 mm below the tube's outlet, and no water would run; write how far the level's datum is above the outlet`,
	}},
	{"drop-high", []string{
		`10:8: tank.drop: "30 m" is out of range; write a length from -20 m to 20 m`,
	}},
	{"drop-spread", []string{
		`10:8: tank.drop: "1.10 m ± 90 m": the uncertainty is out of range; write ± up to 40 m, or check the unit behind ±`,
	}},
	{"every-short", []string{
		`29:9: instruments.temperature.every: "1 ms" is out of range; write a time from 10 ms to 60 min`,
	}},
	{"five-mistakes", []string{
		`5:8: tube.bore: "13.00 mn": "mn" is not a unit; write one of mm, cm, m, in`,
		`17:8: ports.tc.baud: the number 9601 is not a rate of serial lines; write the instrument's rate without quotes, such as 9600, 19200 or 115200`,
		`22:55: instruments.flow.modbus.regster: unknown key; write register`,
		`28:8: instruments.temperature.port: "tcc" is not a port of this file; write "tc"`,
		`49:9: alarms.fast.above: "1 m": m is not the unit of a velocity; write one of m/s, cm/s, mm/s`,
	}},
	{"flow-range-negative", []string{
		`24:10: instruments.flow.range: the lower end of -12 L/min is below zero; write the least flow that the meter can tell from none, such as "0.2 L/min"`,
	}},
	{"framing-modbus", []string{
		`14:11: ports.bus.framing: Modbus RTU needs 8 data bits, and instruments.flow speaks it; write "8E1" or "8N1"`,
	}},
	{"framing", []string{
		`18:11: ports.tc.framing: "8X1" is not a framing; write data bits, parity and stop bits, such as "8E1" or "8N1"`,
	}},
	{"frozen-early", []string{
		`30:16: instruments.temperature.frozen_after: no reading can change in so short a time, they come every 500 ms; write many times the time of every`,
	}},
	{"http-listen", []string{
		`48:10: http.listen: "8080" is not an address with a port; write host:port, such as "127.0.0.1:8080"`,
	}},
	{"http-tokens", []string{
		`48:15: http.tokens_file: "" is not the name of a file; write a name such as "tokens", or leave the key out`,
	}},
	{"instrument-missing", []string{
		`20:2: the table [instruments.level] is missing; write [instruments.level] with its port, its conversation and its unit`,
	}},
	{"instrument-unknown", []string{
		`43:14: instruments.supply: unknown key; write one of flow, temperature, level, heater_outlet, tank, ambient, supply_flow, supply_on, heater_on, pressure_drop, or leave it out`,
	}},
	{"interval-no-unit", []string{
		`3:12: interval: the number 200 where a quantity belongs; write text in quotes with a unit, such as "2 s"`,
	}},
	{"interval-short", []string{
		`3:12: interval: "1 ms" is out of range; write a time from 10 ms to 10 s`,
	}},
	{"interval-uncertain", []string{
		`3:12: interval: "200 ms ± 1 ms": a setting has no uncertainty; leave ± and what follows out`,
	}},
	{"junction-certain", []string{
		`32:45: instruments.temperature.thermocouple.cold_junction: "23 Cel" has no uncertainty; write how far it may be off, such as "23 Cel ± 2 K"`,
	}},
	{"junction-circle", []string{
		`57:45: instruments.tank.thermocouple.cold_junction: its own temperature is needed to measure that of ambient; write a temperature such as "23 Cel ± 2 K"`,
	}},
	{"junction-circular", []string{
		`51:45: instruments.ambient.thermocouple.cold_junction: "ambient" is not another instrument that measures a temperature; write the name of another one, or a temperature such as "23 Cel ± 2 K"`,
	}},
	{"junction-hot", []string{
		`32:45: instruments.temperature.thermocouple.cold_junction: "230 Cel ± 2 K" is no temperature of a connector; write one from -40 Cel to 125 Cel`,
	}},
	{"junction-missing", []string{
		`32:1: instruments.temperature.thermocouple.cold_junction is missing; write its temperature, such as cold_junction = "23 Cel ± 2 K", or the name of an instrument`,
	}},
	{"junction-no-temperature", []string{
		`32:45: instruments.temperature.thermocouple.cold_junction: "level" is not another instrument that measures a temperature; write the name of another one, or a temperature such as "23 Cel ± 2 K"`,
	}},
	{"junction-not-there", []string{
		`32:45: instruments.temperature.thermocouple.cold_junction: there is no instrument ambient in this file; write [instruments.ambient], or a temperature such as "23 Cel ± 2 K"`,
	}},
	{"key-twice", []string{
		`49:1: listen stands here again, first in line 48; write it once`,
	}},
	{"length-short", []string{
		`6:10: tube.length: 9 mm is shorter than the bore of 13 mm; write the length along the tube`,
	}},
	{"level-below-lip", []string{
		`40:10: instruments.level.range: the lip at 250 mm lies outside it, 0 mm to 240 mm; write the range of the sensor, or the height of the lip above the sensor's datum`,
	}},
	{"lip-missing", []string{
		`8:2: tank.lip is missing; write lip = "250 mm"`,
	}},
	{"max-step", []string{
		`24:12: instruments.flow.max_step: "-1 L/min" is not above zero; write a volume flow such as "1.2 L/min"`,
	}},
	{"millivolt-alone", []string{
		`31:8: instruments.temperature.unit: mV is not the unit of a temperature; write thermocouple = {…} beside it, or a unit of temperature such as Cel`,
	}},
	{"modbus-address", []string{
		`22:21: instruments.flow.modbus.address: 248 is out of range; write a number from 1 to 247`,
	}},
	{"modbus-bit-type", []string{
		`45:50: instruments.supply_on.modbus.type: a coil or a discrete input is one bit; leave type out`,
	}},
	{"modbus-no-address", []string{
		`22:1: instruments.flow.modbus.address is missing; write the slave's address, such as address = 1`,
	}},
	{"modbus-no-register", []string{
		`22:1: instruments.flow.modbus.register is missing; write the zero-based register, such as register = 0, or reference = 30001`,
	}},
	{"modbus-reference-and-table", []string{
		`38:43: instruments.level.modbus.table stands beside reference, which says it already; write only one of them`,
	}},
	{"modbus-reference-zero", []string{
		`38:36: instruments.level.modbus.reference: 40000 names no register; write 5 or 6 digits, such as 30001 (input 0), 40017 (holding 16), 10001 (discrete 0) or "00001" (coil 0)`,
	}},
	{"modbus-reference", []string{
		`38:36: instruments.level.modbus.reference: 20017 names no register; write 5 or 6 digits, such as 30001 (input 0), 40017 (holding 16), 10001 (discrete 0) or "00001" (coil 0)`,
	}},
	{"modbus-register-end", []string{
		`22:52: instruments.flow.modbus: the number ends at register 65536; write a register of up to 65535 for its last word`,
	}},
	{"modbus-register", []string{
		`22:52: instruments.flow.modbus.register: 70000 is out of range; write a number from 0 to 65535`,
	}},
	{"modbus-table", []string{
		`22:32: instruments.flow.modbus.table: "inputs" is not known here; write one of "input", "holding", "discrete", "coil"`,
	}},
	{"modbus-type", []string{
		`22:62: instruments.flow.modbus.type: "float16" is not known here; write one of "uint16", "int16", "uint32", "int32", "float32", "uint64", "float64"`,
	}},
	{"mqtt-bare", []string{
		`48:10: mqtt.broker: "broker.example" is not the address of a broker; write tcp://HOST:1883 or tls://HOST:8883 (mqtt, mqtts and ssl mean the same), or "embedded"`,
	}},
	{"mqtt-ca-plain", []string{
		`49:11: mqtt.ca_file: the broker's address is not a secure one; write broker = "tls://…", or leave ca_file out`,
	}},
	{"mqtt-commands", []string{
		`49:12: mqtt.commands: this version takes no commands over MQTT; write commands = false, and give commands on the page or over HTTP`,
	}},
	{"mqtt-embedded-account", []string{
		`48:10: mqtt.broker: the embedded broker has no accounts and no certificates; leave username, password_file and ca_file out`,
	}},
	{"mqtt-every", []string{
		`49:9: mqtt.every: "10 ms" is out of range; write a time from 200 ms to 60 min`,
	}},
	{"mqtt-keep-alive", []string{
		`49:14: mqtt.keep_alive: MQTT counts it in whole seconds; write a whole number of seconds, such as "10 s"`,
	}},
	{"mqtt-no-broker", []string{
		`47:2: mqtt.broker is missing; write broker = "tcp://broker.example:1883", or "embedded"`,
	}},
	{"mqtt-password-alone", []string{
		`49:17: mqtt.password_file: MQTT 3.1.1 has no password without a user name; write username too`,
	}},
	{"mqtt-password-in-url", []string{
		`48:10: mqtt.broker: the address holds a name or a password; write username and password_file`,
	}},
	{"mqtt-port", []string{
		`48:10: mqtt.broker: 99999 is not a port; write one from 1 to 65535`,
	}},
	{"mqtt-scheme", []string{
		`48:10: mqtt.broker: "http://broker.example:1883" is not the address of a broker; write tcp://HOST:1883 or tls://HOST:8883 (mqtt, mqtts and ssl mean the same), or "embedded"`,
	}},
	{"mqtt-topic", []string{
		`49:9: mqtt.topic: "flowrig/#": + and # are wildcards of MQTT; write levels such as "flowrig" or "hall/flowrig"`,
	}},
	{"mqtt-websocket", []string{
		`48:10: mqtt.broker: "wss://broker.example/mqtt": MQTT within WebSocket is not spoken here; write the broker's own port, as tcp://HOST:1883 or tls://HOST:8883`,
	}},
	{"notify-ca-clear", []string{
		`49:11: notify.ca_file: unused, the connection is not encrypted; write an encrypted address or security, or leave ca_file out`,
	}},
	{"notify-empty", []string{
		`47:3: notify: the receiver is missing; write webhook or mail`,
	}},
	{"notify-fragment", []string{
		`48:11: notify.webhook: "https://desk.example/hook#top": what follows # is never sent; leave # and what follows out`,
	}},
	{"notify-key", []string{
		`49:1: notify.token: unknown key; write one of webhook, mail, token_file, ca_file, priorities, or leave it out`,
	}},
	{"notify-list", []string{
		`3:11: notify: text where a receiver belongs; write {webhook = "https://desk.north-hall.example/hook"} or {mail = {…}}`,
	}},
	{"notify-mail-address", []string{
		`48:15: notify.mail.to: "night" is not an address; write one such as "technician@north-hall.example"`,
		`48:24: notify.mail.to: "Night Watch <night@north-hall.example>" is not an address; write one such as "technician@north-hall.example"`,
		`48:74: notify.mail.from: "bench-3" is not an address; write one such as "bench-3@north-hall.example"`,
		`48:94: notify.mail.server: "smtp.north-hall.example:70000" is not the address of a mail server; write host:port, such as "smtp.north-hall.example:587"`,
	}},
	{"notify-mail-clear", []string{
		`48:185: notify.mail.security: the password would go over the network in the clear; write security = "starttls" or "tls", or leave username and password_file out`,
	}},
	{"notify-mail-missing", []string{
		`48:1: notify.mail.to is missing; write to = ["technician@north-hall.example"]`,
		`48:1: notify.mail.from is missing; write from = "bench-3@north-hall.example"`,
		`48:1: notify.mail.server is missing; write server = "smtp.north-hall.example:587"`,
	}},
	{"notify-mail-no-list", []string{
		`48:14: notify.mail.to: no list of addresses; write to = ["technician@north-hall.example"]`,
	}},
	{"notify-mail-password", []string{
		`48:137: notify.mail.password_file: a password without a user name; write username too, or leave password_file out`,
	}},
	{"notify-mail-security", []string{
		`48:132: notify.mail.security: "ssl" is not known here; write one of "starttls", "tls", "none"`,
	}},
	{"notify-mail-token", []string{
		`49:1: notify.token_file: unknown key; write one of webhook, mail, ca_file, priorities, or leave it out`,
	}},
	{"notify-mail-user", []string{
		`48:132: notify.mail.username: a user name without a password; write password_file too, or leave username out`,
	}},
	{"notify-priorities-none", []string{
		`49:1: notify.priorities: no list of priorities; write some of "high", "medium", "low", such as priorities = ["high", "medium"]`,
	}},
	{"notify-priorities", []string{
		`49:23: notify.priorities: "urgent" is not a priority; write some of "high", "medium", "low", such as priorities = ["high", "medium"]`,
		`49:33: notify.priorities: "high" stands here twice; write it once`,
	}},
	{"notify-scheme", []string{
		`48:11: notify.webhook: "ftp://desk.example/hook" is not the address of a webhook; write one such as "https://desk.north-hall.example/hook"`,
	}},
	{"notify-secret", []string{
		`48:11: notify.webhook: the address holds a name or a password; write token_file, the name of a file with the receiver's token`,
	}},
	{"notify-table", []string{
		`47:2: notify: a table where receivers belong; write [[notify]] with webhook = "https://desk.north-hall.example/hook" or mail = {…} below it, once for each receiver`,
	}},
	{"notify-text", []string{
		`3:10: notify: text where receivers belong; write [[notify]] with webhook = "https://desk.north-hall.example/hook" or mail = {…} below it, once for each receiver`,
	}},
	{"notify-token-clear", []string{
		`49:14: notify.token_file: the token would go over the network in the clear; write webhook = "https://…", or leave token_file out`,
	}},
	{"notify-token-empty", []string{
		`49:14: notify.token_file: "" is not the name of a file; write a name such as "hook.token", or leave the key out`,
	}},
	{"notify-twice", []string{
		`50:3: notify: https://desk.example/hook stands here twice; write it once, with all its priorities`,
	}},
	{"notify-twice-mail", []string{
		`50:3: notify: night@north-hall.example stands here twice; write it once, with all its priorities`,
	}},
	{"notify-two", []string{
		`49:1: notify: webhook and mail stand together; write only one of them`,
	}},
	{"orientation", []string{
		`7:15: tube.orientation: "down" is not known here; write one of "vertical-down", "vertical-up", "horizontal"`,
	}},
	{"port-missing", []string{
		`27:14: instruments.temperature.port is missing; write port = "bus" or "tc"`,
	}},
	{"port-name", []string{
		`15:8: "T C" is not a name for a port; write small letters, digits and hyphens, such as [ports.bus]`,
	}},
	{"port-unknown", []string{
		`28:8: instruments.temperature.port: "tcc" is not a port of this file; write "tc"`,
	}},
	{"pulses-bits", []string{
		`23:36: instruments.flow.pulses.bits: 32 bits do not fit into uint16; write the counter's own width, at which it wraps`,
	}},
	{"pulses-float", []string{
		`23:1: instruments.flow.pulses: a counter is a whole number without sign; write type uint16, uint32 or uint64`,
	}},
	{"pulses-on-level", []string{
		`39:1: instruments.level.pulses: pulses count volume, and level is a length; write unit or scale instead`,
	}},
	{"pulses-window", []string{
		`24:38: instruments.flow.pulses.window: fewer than two readings fall into the window, they come every 2 s; write at least twice the time of every`,
	}},
	{"pulses-wrap", []string{
		`23:1: instruments.flow.pulses: a counter of 8 bits wraps every 901.408 ms at 12 L/min, before a reading is stale after 2 s; use a wider counter, or write a shorter stale_after`,
	}},
	{"pulses-zero", []string{
		`23:23: instruments.flow.pulses.per_litre: 0 is not above zero; write the meter's pulses per litre, such as 1420`,
	}},
	{"query-broken-expression", []string{
		"30:33: instruments.temperature.query.reply: \"/^T=(?P<value>[0-9$/\" is not a regular expression: missing closing ]: `[0-9$`; write the number as (?P<value>…) once, such as \"/^T=(?P<value>[-+.0-9]+)$/\"",
	}},
	{"query-end", []string{
		`30:52: instruments.temperature.query.end: "" cannot end a line; write the bytes that end each line, such as "\r\n"`,
	}},
	{"query-expression", []string{
		`30:33: instruments.temperature.query.reply: "/^T=(.*)$/" holds (?P<value>…) 0 times; write the number as (?P<value>…) once, such as "/^T=(?P<value>[-+.0-9]+)$/"`,
	}},
	{"query-no-send", []string{
		`30:1: instruments.temperature.query.send is missing; write what the instrument is asked, such as send = "T?\r"`,
	}},
	{"query-no-value", []string{
		`30:33: instruments.temperature.query.reply: "T=" holds {value} 0 times; write the line with one {value} in place of its number, such as "T={value}"`,
	}},
	{"query-two-values", []string{
		`30:33: instruments.temperature.query.reply: "T={value} {value}" holds {value} 2 times; write the line with one {value} in place of its number, such as "T={value}"`,
	}},
	{"range-order", []string{
		`33:21: instruments.temperature.range: "0 Cel" is not above "110 Cel"; write the lower end first`,
	}},
	{"range-unit", []string{
		`24:23: instruments.flow.range: "12": the unit is missing; write a volume flow such as "1.2 L/min"`,
	}},
	{"record-date", []string{
		`48:8: record.keep: a date or time where a quantity belongs; write text in quotes with a unit, such as "2 s"`,
	}},
	{"record-durable", []string{
		`48:18: record.durable_within: "1 h" is out of range; write a time from 100 ms to 60 s`,
	}},
	{"record-every", []string{
		`48:9: record.every: "50 ms" is out of range; write a time from 200 ms to 60 min`,
	}},
	{"record-keep", []string{
		`49:15: record.keep_inputs: inputs would outlive the rows, kept for 10 d; write a time up to that of keep`,
	}},
	{"record-size", []string{
		`48:12: record.max_size: "20 G": "G" is not a unit; write one of MB, GB, GiB`,
	}},
	{"regime-high", []string{
		`48:19: regime.turbulent_above: 2000000 is no limit for a pipe; write a Reynolds number from 1 to 1000000, such as 4000`,
	}},
	{"regime-order", []string{
		`48:17: regime.laminar_below: 4000 is not below turbulent_above = 2000; write the lower limit here and the upper one there, such as 2000 and 4000`,
	}},
	{"regime-text", []string{
		`48:17: regime.laminar_below: text where a number belongs; write a finite number without quotes and without a unit`,
	}},
	{"registers-overlap", []string{
		`38:1: instruments.level.modbus: input register 1 of address 1 overlaps that of instruments.flow; write another register, or leave one instrument out`,
	}},
	{"rig-empty", []string{
		`2:7: rig: "": an empty name; write a name such as "bench-3"`,
	}},
	{"rig-slash", []string{
		`2:7: rig: "hall/bench-3": a slash parts the levels of a topic; write a name such as "bench-3"`,
	}},
	{"roughness-large", []string{
		`7:13: tube.roughness: 1.5 mm is more than 5 % of the bore of 13 mm; write the height of the wall's roughness, such as "0.0015 mm" for glass`,
	}},
	{"roughness-spread", []string{
		`7:13: tube.roughness: ± 2 mm is more than 5 % of the bore of 13 mm; write the height of the wall's roughness, such as "0.0015 mm" for glass`,
	}},
	{"scale-dimension", []string{
		`39:46: instruments.level.scale.to: "400 mL": mL is not the unit of a length; write one of mm, cm, m, in`,
	}},
	{"scale-flat", []string{
		`39:24: instruments.level.scale.from: both points are the same; write two different values`,
	}},
	{"scale-one-point", []string{
		`39:18: instruments.level.scale.from: a list of two values belongs here; write from = [4000, 20000]`,
	}},
	{"site-missing", []string{
		`1:1: site is missing; write site = "north-hall" at the top of the file`,
	}},
	{"site-number", []string{
		`1:8: site: the number 3 where text belongs; write text in quotes, such as site = "north-hall"`,
	}},
	{"site-wildcard", []string{
		`1:8: site: "north+hall": + and # are wildcards of MQTT; write a name such as "north-hall"`,
	}},
	{"stale-early", []string{
		`30:15: instruments.temperature.stale_after: a reading is stale before the next one comes, every 500 ms; write at least twice the time of every`,
	}},
	{"stream-shared", []string{
		`30:1: instruments.temperature: it sends unprompted and cannot share ports.tc with instruments.flow; give it a port of its own`,
	}},
	{"syntax-leading-zero", []string{
		`38:36: broken syntax: integers cannot have leading zeroes; write TOML: [table], key = value, text in "quotes"`,
	}},
	{"syntax-no-value", []string{
		`2:6: broken syntax: unexpected character U+000A at start of value; write TOML: [table], key = value, text in "quotes"`,
	}},
	{"syntax-quote", []string{
		`1:19: broken syntax: text in quotes has no end in this line; write the same quotation mark at its end as at its beginning`,
	}},
	{"table-as-value", []string{
		`3:8: tank: text where a table belongs; write [tank] and its keys below, or tank = {…}`,
	}},
	{"table-twice", []string{
		`47:2: tank stands here again, first in line 8; write it once`,
	}},
	{"tank-missing", []string{
		`1:1: the table [tank] is missing; write [tank] with lip = "250 mm" and drop = "1.10 m"`,
	}},
	{"temperature-slow", []string{
		`29:9: instruments.temperature.every: with a reading every 11 s a probe out of the water is not found, nor a rise, and this rig heats; read it at least every 10 s`,
	}},
	{"thermocouple-on-flow", []string{
		`24:1: instruments.flow.thermocouple: flow is not a temperature; leave thermocouple out`,
	}},
	{"thermocouple-type", []string{
		`32:24: instruments.temperature.thermocouple.type: "Q" is not known here; write one of "K", "T", "J", "N"`,
	}},
	{"thermocouple-unit", []string{
		`31:8: instruments.temperature.unit: Cel is not the unit of a voltage, and a thermocouple gives one; write one of mV, uV, V`,
	}},
	{"timeout", []string{
		`18:11: ports.tc.timeout: "200 s" is out of range; write a time from 1 ms to 60 s`,
	}},
	{"trip-broadcast", []string{
		`49:21: trip.modbus.address: 0 is out of range; write a number from 1 to 247`,
	}},
	{"trip-coil-taken", []string{
		`45:1: instruments.supply_on.modbus: coil 0 of address 9 is the heating permit of trip; write where the instrument itself is read`,
	}},
	{"trip-framing", []string{
		`18:11: ports.tc.framing: Modbus RTU needs 8 data bits, and trip speaks it; write "8E1" or "8N1"`,
	}},
	{"trip-key", []string{
		`50:1: trip.latch: unknown key; write one of port, modbus, pulse, watchdog, refresh, or leave it out`,
	}},
	{"trip-level", []string{
		`49:1: trip.level: a static level is no permit: it stays on when the program hangs; write modbus = {address = 9, coil = 0}, or pulse = "rts" or "dtr" into an external retriggerable relay`,
	}},
	{"trip-no-address", []string{
		`49:1: trip.modbus.address is missing; write the relay's address, such as address = 9`,
	}},
	{"trip-no-coil", []string{
		`49:1: trip.modbus.coil is missing; write the zero-based coil, such as coil = 0`,
	}},
	{"trip-no-output", []string{
		`47:2: trip: the output is missing; write modbus or pulse`,
	}},
	{"trip-no-port", []string{
		`47:2: trip.port is missing; write port = "bus" or "tc"`,
	}},
	{"trip-port", []string{
		`48:8: trip.port: "buss" is not a port of this file; write "bus"`,
	}},
	{"trip-pulse-high", []string{
		`49:9: trip.pulse: "high" is no line that can be pulsed, and a static level stays on when the program hangs; write "rts" or "dtr", into an external retriggerable relay`,
	}},
	{"trip-pulse-true", []string{
		`49:9: trip.pulse: true is no line that can be pulsed, and a static level stays on when the program hangs; write "rts" or "dtr", into an external retriggerable relay`,
	}},
	{"trip-refresh-fast", []string{
		`50:11: trip.refresh: "50 ms" is out of range; write a time from 200 ms to 60 s`,
	}},
	{"trip-refresh", []string{
		`50:11: trip.refresh: a refresh every 2 s is more than a third of the relay's watchdog of 3 s; write a refresh of up to 1 s, or set the relay's watchdog to 6 s or more`,
	}},
	{"trip-rts", []string{
		`49:1: trip.rts: a static level is no permit: it stays on when the program hangs; write modbus = {address = 9, coil = 0}, or pulse = "rts" or "dtr" into an external retriggerable relay`,
	}},
	{"trip-stream", []string{
		`48:8: trip.port: instruments.temperature sends unprompted on ports.tc, and no relay can be reached there; give the relay another port`,
	}},
	{"trip-two-outputs", []string{
		`50:1: trip: modbus and pulse stand together; write only one of them`,
	}},
	{"trip-watchdog-long", []string{
		`50:12: trip.watchdog: "10 min" is out of range; write a time from 100 ms to 60 s`,
	}},
	{"trip-watchdog", []string{
		`12:8: warning: ports.bus.timeout: 200 ms is more than a third of the relay's watchdog of 500 ms: one silent instrument may delay a refresh too long; write a timeout of up to 166.667 ms`,
		`50:12: trip.watchdog: a refresh every 200 ms is more than a third of the relay's watchdog of 500 ms; set the relay's watchdog to 600 ms or more`,
	}},
	{"tube-max-rate-zero", []string{
		`7:12: tube.max_rate: "0 K/min" is not above zero; write a rate of temperature such as "5 K/min"`,
	}},
	{"tube-max-rate", []string{
		`7:12: tube.max_rate: "5 K": K is not the unit of a rate of temperature; write one of K/s, K/min, K/h`,
	}},
	{"unit-and-scale", []string{
		`24:1: instruments.flow: unit and scale stand together; write only one of them`,
	}},
	{"unit-missing", []string{
		`20:14: instruments.flow: what its number means is missing; write one of unit, scale, pulses`,
	}},
	{"unit-on-switch", []string{
		`46:1: instruments.supply_on.unit: unknown key; write one of port, every, stale_after, frozen_after, lag, checksum, modbus, query, stream, or leave it out`,
	}},
	{"unit-unknown", []string{
		`23:8: instruments.flow.unit: "l/Min" is not a unit; write L/min, capital and small letters matter`,
	}},
	{"unit-wrong", []string{
		`23:8: instruments.flow.unit: mm is not the unit of a volume flow; write one of L/min, L/h, mL/s, m3/h, m3/s`,
	}},
	{"unknown-key", []string{
		`6:1: tube.lenght: unknown key; write length`,
	}},
	{"unknown-table", []string{
		`1:1: the table [tank] is missing; write [tank] with lip = "250 mm" and drop = "1.10 m"`,
		`8:2: tanks: unknown key; write tank`,
	}},
	{"unknown-top", []string{
		`3:1: colour: unknown key; write one of site, rig, altitude, zone, interval, tube, tank, regime, ports, instruments, trip, mqtt, notify, http, record, alarms, or leave it out`,
	}},
	{"utf16", []string{
		`1:1: the file is UTF-16 text; save it as UTF-8`,
	}},
	{"value-as-table", []string{
		`3:8: tube: the number 3 where a table belongs; write [tube] and its keys below, or tube = {…}`,
		`5:2: tube is a value in line 3 and cannot be a table too; write it once`,
	}},
	{"warn-accuracy", []string{
		`27:14: warning: instruments.temperature has no accuracy: the uncertainty of what is computed from it is unknown; write the maker's limits of error, such as accuracy = {of_reading = "0.5 %"}`,
	}},
	{"warn-bore", []string{
		`5:8: warning: tube.bore has no ±: it counts as exact, and the uncertainty of the Reynolds number is too small; write how well it is known, such as "13 mm ± 0.05 mm"`,
	}},
	{"warn-expression", []string{
		`30:33: warning: instruments.temperature.query.reply: the expression may find its number in the middle of a broken line; begin it with ^ and end it with $`,
	}},
	{"warn-lengths", []string{
		`6:10: warning: tube.length has no ±: it counts as exact, and the uncertainty of the loss coefficient is too small; write how well it is known, such as "900 mm ± 2 mm"`,
		`10:8: warning: tank.drop has no ±: it counts as exact, and the uncertainty of the loss coefficient is too small; write how well it is known, such as "0 mm ± 5 mm"`,
	}},
	{"warn-listen", []string{
		"48:10: warning: http.listen: the page is open to the network, without encryption; make tokens with `flowrigd token add`, and put a proxy with TLS before it",
	}},
	{"warn-notify-http", []string{
		`48:11: warning: notify.webhook: alarms go over the network in the clear, and nobody proves to be the receiver; write https://…`,
	}},
	{"warn-notify-mail", []string{
		`48:132: warning: notify.mail.security: alarms go over the network in the clear; write security = "starttls" or "tls"`,
	}},
	{"warn-password", []string{
		`48:10: warning: mqtt.broker: readings and alarms go over the network in the clear, and anybody there can read and change them; write broker = "tls://…" and ca_file, or use a broker on this machine`,
		`50:17: warning: mqtt.password_file: the password goes over the network in the clear; write broker = "tls://…"`,
	}},
	{"warn-poll", []string{
		`12:8: warning: ports.bus: the polls take 307 % of the line's time (flow: 17 characters × 11 bits ÷ 1200 Bd + 2 × 32.0833 ms silence = 220 ms every 200 ms, level: 15 characters × 11 bits ÷ 1200 Bd + 2 × 32.0833 ms silence = 201.667 ms every 200 ms, supply_on: 14 characters × 11 bits ÷ 1200 Bd + 2 × 32.0833 ms silence = 192.5 ms every 200 ms); raise every or baud, or share the instruments among more ports`,
	}},
	{"warn-supply", []string{
		`20:2: warning: neither supply_flow nor supply_on is measured: dry heating is not detected; fit a hard-wired flow interlock and cut-out, and write [instruments.supply_flow] or [instruments.supply_on] where there is one`,
	}},
	{"warn-temperature-slow", []string{
		`29:9: warning: instruments.temperature.every: with a reading every 11 s temperature_rate, seconds_to_overheat and steady come late; read it at least every 10 s`,
	}},
	{"warn-trip-readback", []string{
		`53:1: warning: instruments.heater_on.modbus: this is the coil of trip: it shows what was commanded, not whether the heater draws power, and a welded relay stays unseen; read a contact or a current behind the relay`,
	}},
	{"warn-trip-rts", []string{
		`49:9: warning: trip.pulse: instruments.flow speaks Modbus on ports.bus, where many adapters switch their transmitter with RTS; write pulse = "dtr", or give the relay a port of its own`,
	}},
	{"warn-trip-timeout", []string{
		`14:11: warning: ports.bus.timeout: 2 s is more than a third of the relay's watchdog of 3 s: one silent instrument may delay a refresh too long; write a timeout of up to 1 s`,
	}},
	{"warn-tty", []string{
		"16:10: warning: ports.tc.device: /dev/ttyUSB0 may be another adapter after a restart; write its name under /dev/serial/by-id, see `flowrigd ports`",
	}},
	{"quotes-printed", []string{
		`1:8: broken syntax: “ (U+201C) is a printed quotation mark; write the straight one of the keyboard, ", before and behind the text`,
	}},
	{"quotes-printed-end", []string{
		`1:22: broken syntax: ” (U+201D) is a printed quotation mark; write the straight one of the keyboard, ", before and behind the text`,
	}},
	{"quotes-missing", []string{
		`5:14: broken syntax: text without quotes; write bore = "13.00 mm ± 0.04 mm"`,
	}},
	{"quotes-missing-word", []string{
		`2:7: broken syntax: text without quotes; write rig = "bench-3"`,
	}},
	{"backslash", []string{
		`16:14: broken syntax: \ begins an escape in text in "double quotes"; write the text in 'single quotes', such as 'C:\rig\tokens', or write each \ twice`,
	}},
	{"backslash-tab", []string{
		`48:15: http.tokens_file: "C:\temp\new" holds a tab, a new line or the like: \ begins an escape in "double quotes"; write the name in 'single quotes', or write each \ twice`,
	}},
	{"space-no-break", []string{
		`9:4: broken syntax: a space of another kind (U+00A0), as word processors write it; write it anew with the space bar`,
	}},
	{"colon", []string{
		`9:4: broken syntax: a colon behind the key; write key = value`,
	}},
	{"equals-twice", []string{
		`9:6: broken syntax: = stands here twice; write it once: key = value`,
	}},
	{"semicolon", []string{
		`22:53: broken syntax: a semicolon between two values; write a comma`,
	}},
	{"comma-number", []string{
		`48:18: broken syntax: a comma in the number; write a decimal point, and nothing between thousands`,
	}},
	{"true-capital", []string{
		`48:9: broken syntax: True is not known; write true`,
	}},
	{"zero-byte", []string{
		`2:13: a zero byte: the file is UTF-16 text, or no text at all; save it as UTF-8`,
	}},
	{"escape-key", []string{
		`10:1: tank.\x1b[31mlipp\u202e: unknown key; write lip or drop, or leave it out`,
	}},
	{"register-manual", []string{
		`22:52: instruments.flow.modbus.register: 40017 looks like the number in the maker's manual, which counts from 40001; write reference = 40017 in place of table and register (holding register 16); where the protocol's register is meant, write reference = 340018`,
	}},
	{"register-manual-coil", []string{
		`45:51: instruments.supply_on.modbus.register: 30001 looks like the number in the maker's manual, which counts from 30001; write reference = 30001 in place of table and register (input register 0)`,
	}},
	{"lip-scale", []string{
		`39:38: alarms.head-lost: the limit of 430 mm is never passed within the scale of instruments.level, 0 mm to 400 mm; change the limit, the deadband or the scale, or write range where the sensor measures beyond the two points of its scale`,
		`39:38: instruments.level.scale: the lip at 450 mm lies outside it, 0 mm to 400 mm; write the heights at the two points of the scale, or the height of the lip above the sensor's datum; write range where the sensor measures beyond them`,
	}},
	{"alarm-scale", []string{
		`31:33: alarms.water-overheat: the limit of 75 Cel is never passed within the scale of instruments.temperature, 0 Cel to 70 Cel; change the limit, the deadband or the scale, or write range where the sensor measures beyond the two points of its scale`,
	}},
	{"warn-broker", []string{
		`48:10: warning: mqtt.broker: readings and alarms go over the network in the clear, and anybody there can read and change them; write broker = "tls://…" and ca_file, or use a broker on this machine`,
	}},
	{"decimal", []string{
		`30:56: instruments.temperature.query.decimal: ";" is not known here; write "." or ","`,
	}},
	{"unit-look-alike", []string{
		`23:8: instruments.flow.unit: "L/mіn" is not a unit: the character і in it is U+0456, which may look like another; write one of L/min, L/h, mL/s, m3/h, m3/s`,
	}},
	{"latin1", []string{
		`5:18: the file is not UTF-8: the byte B1 is ± in Latin-1; save it as UTF-8, which editors offer beside the name or under encoding`,
	}},
	{"port-device", []string{
		`28:8: instruments.temperature.port: "/dev/serial/by-id/usb-tc-0" is not a port of this file; write "tc", the name of the port with that device`,
	}},
	{"port-word", []string{
		`28:8: instruments.temperature.port: "the thermometer" is not a port of this file; write port = "bus" or "tc"`,
	}},
	{"choice-capital", []string{
		`32:24: instruments.temperature.thermocouple.type: "k" is not known here; write "K", capital and small letters matter`,
	}},
	{"framing-small", []string{
		`18:11: ports.tc.framing: "8n1" is not a framing; write "8N1", in capitals`,
	}},
	{"warn-device-bare", []string{
		"16:10: warning: ports.tc.device: \"ttyUSB1\" is looked for beside this file; write its whole name, such as \"/dev/ttyUSB1\", see `flowrigd ports`",
	}},
	{"syntax-apostrophe", []string{
		`1:19: broken syntax: text in quotes has no end in this line; write the same quotation mark at its end as at its beginning`,
	}},
	{"syntax-bracket", []string{
		`8:7: broken syntax: the bracket of a table's name is not closed; write [tank]`,
	}},
	{"warn-unused", []string{
		`47:8: warning: ports.spare: nothing uses it; leave it out, or name it in an instrument or in [trip]`,
	}},
}

func TestBadFiles(t *testing.T) {
	for _, tt := range badFiles {
		t.Run(tt.name, func(t *testing.T) {
			path := "../testdata/rigs/bad/" + tt.name + ".toml"
			c, problems := Load(path)
			var got []string
			for _, p := range problems {
				got = append(got, strings.TrimPrefix(p.String(), path+":"))
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tt.want, "\n"))
			}
			if (c == nil) != Fatal(problems) {
				t.Errorf("config %v beside these problems", c)
			}
		})
	}
}

// A file that no row of the table looks at would hold nothing.
func TestBadFilesAreAllListed(t *testing.T) {
	files, err := filepath.Glob("../testdata/rigs/bad/*.toml")
	if err != nil || len(files) != len(badFiles) {
		t.Fatalf("%d files, %d rows, %v", len(files), len(badFiles), err)
	}
}

func TestMissingFile(t *testing.T) {
	c, problems := Load(filepath.Join(t.TempDir(), "none.toml"))
	if c != nil || len(problems) != 1 || !strings.Contains(problems[0].String(), "none.toml:1:1: read: ") {
		t.Errorf("got %v", problems)
	}
}

func TestTooLargeFile(t *testing.T) {
	c, problems := Parse("big.toml", []byte(strings.Repeat("# nothing\n", maxFile/10+1)))
	if c != nil || len(problems) != 1 || problems[0].Remedy != "write a configuration of up to 131072 bytes" {
		t.Errorf("got %v", problems)
	}
}
