// Every time on the page is the rig's, in its zone, and not the reader's.
const {zone, offset} = document.documentElement.dataset;

let format = null;
try {
  if (zone) {
    format = new Intl.DateTimeFormat('en-CA', {timeZone: zone, hourCycle: 'h23', year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', second: '2-digit'});
  }
} catch {
  // The browser does not know the zone: its present offset has to do.
}

// rigsTime writes milliseconds since 1970 as 2026-03-04 09:30:00.
export function rigsTime(at) {
  if (!Number.isFinite(at)) return '';
  if (!format) return new Date(at + Number(offset ?? 0) * 1000).toISOString().slice(0, 19).replace('T', ' ');
  const part = Object.fromEntries(format.formatToParts(at).map(({type, value}) => [type, value]));
  return `${part.year}-${part.month}-${part.day} ${part.hour}:${part.minute}:${part.second}`;
}
