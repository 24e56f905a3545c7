// The notebook: what is seen and caught at the bench, written down and listed.
import {attempt, call, tell} from './act.js';
import {rigsTime} from './clock.js';

const root = document.documentElement;
const table = document.getElementById('results');
const longest = 200; // characters of a text in the table

const cut = (text) => { const all = [...String(text ?? '')]; return all.length > longest ? `${all.slice(0, longest).join('')}…` : all.join(''); };
const time = (text) => rigsTime(Date.parse(text)).slice(11);
const number = (v, decimals = 0) => v === null || v === undefined ? '—' : Number(v).toLocaleString('en', {minimumFractionDigits: decimals, maximumFractionDigits: decimals}).replaceAll(',', '\u202f');

function resultOf(kind, r) {
  switch (kind) {
    case 'test-points':
      return `Re ${number(r.reynolds_number)} ± ${number(r.reynolds_number_expanded)}, ${r.computed_regime}${r.observed_regime ? `, dye ${r.observed_regime}` : ''}${r.point ? `, ${r.point}` : ''}${r.spoilt ? `; spoilt: ${r.spoilt}` : ''}`;
    case 'observations':
      return `${r.seen} at Re ${number(r.reynolds_number)}${r.sensor ? ', by the light' : ''}${r.note ? `: ${r.note}` : ''}`;
    case 'collections':
      return `meter factor ${number(r.meter_factor, 4)} ± ${number(r.meter_factor_uncertainty, 4)}${r.verdict ? `: ${r.verdict}` : ''}`;
    default:
      return `${r.kind === 'other' ? '' : r.kind}${r.text ? `${r.kind === 'other' ? '' : ': '}${r.text}` : ''}`;
  }
}

const words = {'test-points': 'test point', observations: 'dye', collections: 'collection', notes: 'note'};

async function listAll() {
  const all = [];
  for (const kind of Object.keys(words)) {
    const answer = await call('GET', `/api/${kind}?limit=${kind === 'notes' ? 8 : 40}`);
    for (const r of answer[kind.replaceAll('-', '_')] ?? []) all.push({kind, r});
  }
  return all.sort((a, b) => String(b.r.time).localeCompare(String(a.r.time)));
}

function cell(row, text) {
  const td = row.insertCell();
  td.textContent = cut(text);
  return td;
}

function rowOf({kind, r}) {
  const row = document.createElement('tr');
  cell(row, time(r.time));
  cell(row, words[kind]);
  cell(row, resultOf(kind, r) + (r.struck ? ` (struck: ${r.struck})` : ''));
  cell(row, r.who || 'by itself');
  const last = cell(row, '');
  if (r.struck) row.className = 'struck';
  else if (kind !== 'notes' && r.sequence) {
    const button = document.createElement('button');
    button.type = 'button';
    button.className = 'act';
    button.id = `strike-${kind}-${r.sequence}`;
    button.textContent = 'Strike…';
    button.setAttribute('aria-label', `Strike the ${words[kind]} of ${time(r.time)}`);
    button.addEventListener('click', () => strike(kind, r));
    last.append(button);
  }
  return row;
}

function strike(kind, r) {
  const reason = prompt(`Why is this ${words[kind]} wrong? It stays in the recording, struck, with your reason.`);
  if (!reason) return;
  attempt(async () => {
    await call('POST', `/api/${kind}/${r.sequence}/strike`, {reason});
    tell(`Struck: ${words[kind]} of ${time(r.time)}.`);
  });
}

let again = false;
let busy = false;
async function list() {
  if (busy) { again = true; return; }
  busy = true;
  const state = document.getElementById('results-state');
  try {
    const all = await listAll();
    if (table) {
      const held = table.contains(document.activeElement) ? document.activeElement.id : '';
      let light = 0; // what the light writes each minute or so does not push the results out of the list
      const shown = all.filter(({kind, r}) => kind !== 'observations' || !r.sensor || ++light <= 3).slice(0, 15);
      table.tBodies[0].replaceChildren(...shown.map(rowOf));
      if (held) (document.getElementById(held) ?? table.closest('section')).focus();
      table.hidden = all.length === 0;
      state.textContent = all.length ? '' : 'Nothing has been written down yet.';
    }
    const marks = all.filter(({kind, r}) => !r.struck && (kind === 'test-points' || kind === 'observations'))
      .map(({kind, r}) => ({at: Date.parse(r.time), kind: kind === 'test-points' ? 'point' : 'seen', says: `${words[kind]}: ${cut(resultOf(kind, r))}`}));
    document.dispatchEvent(new CustomEvent('marks', {detail: marks}));
  } catch (error) {
    if (state) state.textContent = `The notebook cannot be read: ${error.message}.`;
  } finally {
    busy = false;
    if (again) { again = false; list(); }
  }
}

// What is seen, written down with one key or tap.
function see(seen) {
  attempt(async () => {
    await call('POST', '/api/observations', {seen});
    tell(`Written down: the dye is ${seen}.`);
  });
}

function capture() {
  attempt(async () => {
    await call('POST', '/api/test-points', {});
    tell('Captured: a test point over the last steady seconds.');
  });
}

for (const button of document.querySelectorAll('button[data-seen]')) button.addEventListener('click', () => see(button.dataset.seen));
document.getElementById('capture')?.addEventListener('click', capture);

function submit(id, work) {
  document.getElementById(id)?.addEventListener('submit', (event) => {
    event.preventDefault();
    attempt(() => work(event.target.elements, event.target));
  });
}

submit('note', async (field, form) => {
  await call('POST', '/api/notes', {kind: field.kind.value, text: field.text.value});
  form.reset();
  tell('Written down.');
});

submit('begin', async (field) => {
  await call('POST', '/api/experiments', {plan: field.plan.value});
  tell(`Begun: ${field.plan.value}. What to do next stands above.`);
});

// The stopwatch: the daemon's clock is the recording's, so its times are asked of it.
let started = 0;
let running = 0;
const shownTime = document.getElementById('clock-time');
const [startButton, stopButton] = ['clock-start', 'clock-stop'].map((id) => document.getElementById(id));
let measured = null; // {start, stop}: RFC 3339

async function rigsNow() {
  const asked = performance.now();
  const now = await call('GET', '/api/now');
  return {time: Date.parse(now.time), at: (asked + performance.now()) / 2};
}

function tick() { shownTime.value = `${((performance.now() - started) / 1000).toFixed(1)} s`; }

startButton?.addEventListener('click', () => {
  started = performance.now();
  measured = null;
  running = setInterval(tick, 100);
  startButton.disabled = true;
  stopButton.disabled = false;
  stopButton.focus();
});

stopButton?.addEventListener('click', () => {
  const stopped = performance.now();
  clearInterval(running);
  shownTime.value = `${((stopped - started) / 1000).toFixed(1)} s`;
  startButton.disabled = false;
  stopButton.disabled = true;
  attempt(async () => {
    const {time, at} = await rigsNow();
    measured = {start: new Date(time - (at - started)).toISOString(), stop: new Date(time - (at - stopped)).toISOString()};
    document.getElementById('volume').focus();
  });
});

submit('collection', async (field, form) => {
  if (!measured) throw new Error('start and stop the clock first');
  await call('POST', '/api/collections', {volume: field.volume.value, ...measured});
  form.reset();
  measured = null;
  shownTime.value = '0.0 s';
  tell('Handed in: the collection stands in the notebook.');
});

// Alarms: the journal, and shelving.
async function journal() {
  const place = document.getElementById('journal');
  if (!place) return;
  const state = document.getElementById('journal-state');
  try {
    const answer = await call('GET', '/api/alarms?history=40&configured=yes');
    for (const id of ['shelve-name', 'remove-name']) {
      const select = document.getElementById(id);
      if (select.options.length === (answer.configured ?? []).length) continue;
      select.replaceChildren(...(answer.configured ?? []).map(({name, trip}) => Object.assign(new Option(name, name), {title: trip ? 'trips the heating permit' : ''})));
    }
    if (answer.history_problem) throw new Error(answer.history_problem);
    place.tBodies[0].replaceChildren(...answer.history.map((e) => {
      const row = document.createElement('tr');
      for (const text of [rigsTime(Date.parse(e.time)), e.name, e.state, e.who ?? '']) cell(row, text);
      return row;
    }));
    place.hidden = answer.history.length === 0;
    state.textContent = answer.history.length ? '' : 'No alarm has been raised in this recording.';
  } catch (error) {
    state.textContent = `The journal cannot be read: ${error.message}.`;
  }
}

submit('shelve', async (field, form) => {
  await call('POST', `/api/alarms/${encodeURIComponent(field.name.value)}/shelve`, {for: field.for.value, reason: field.reason.value});
  form.reset();
  tell('Shelved: silent, and it still trips the heating permit.');
});

submit('remove', async (field, form) => {
  const name = field.name.value;
  if (!confirm(`Take ${name} out of service? It tells nobody and drops nothing until a person returns it to service.${field.name.selectedOptions[0].title ? ' It trips the heating permit: a permit that is given drops now.' : ''}`)) return;
  await call('POST', `/api/alarms/${encodeURIComponent(name)}/out-of-service`, {reason: field.reason.value});
  form.reset();
  tell(`Out of service: ${name}. It stands in the list of alarms, with the button that returns it.`);
});
const shelves = document.querySelector('.journal');
shelves?.addEventListener('toggle', journal);
if (shelves?.open) journal(); // opened before this script was there

// The working of the present Re, while it is open.
const working = document.getElementById('working');
async function work() {
  if (!working?.open || document.hidden) return;
  const place = working.querySelector('pre');
  if (String(getSelection()) && place.contains(getSelection().anchorNode)) return; // somebody copies it
  try {
    const answer = await fetch('/page/working', {cache: 'no-store', signal: AbortSignal.timeout(8000)});
    place.textContent = answer.ok ? await answer.text() : (await answer.json()).detail;
  } catch (error) {
    place.textContent = `The working cannot be read: ${error.message}.`;
  }
}
working?.addEventListener('toggle', work);
setInterval(work, 3000);

// Keys, unless something is written or they are switched off.
const keys = document.getElementById('keys');
if (keys) {
  keys.checked = localStorage.getItem('keys') !== 'off';
  keys.addEventListener('change', () => localStorage.setItem('keys', keys.checked ? 'on' : 'off'));
}
const hall = document.body.classList.contains('hall');
function goTo(id) {
  const place = document.getElementById(id);
  if (place instanceof HTMLDetailsElement) place.open = true;
  place?.scrollIntoView();
  (place?.querySelector('summary') ?? place)?.focus();
}
const seenBy = {1: 'laminar', 2: 'transitional', 3: 'turbulent'};
document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest('input:not([type="checkbox"]), select, textarea')) return;
  if (hall && event.key === 'Escape') location.href = '/';
  if (localStorage.getItem('keys') === 'off') return;
  if (event.key === 'h') location.href = hall ? '/' : '/hall';
  if (hall || event.repeat) return;
  if (event.key === '?') goTo('help');
  if (event.key === 'a') (document.querySelector('.alarm-place button.act') ?? document.querySelector('.alarm-place')).focus();
  if (root.dataset.role !== 'operate') return;
  if (seenBy[event.key]) see(seenBy[event.key]);
  if (event.key === 'c') capture();
});

// Sound, after a person has allowed it.
const sound = document.getElementById('sound');
let audio = null;
sound?.addEventListener('click', () => {
  const on = sound.getAttribute('aria-pressed') !== 'true';
  sound.setAttribute('aria-pressed', String(on));
  sound.textContent = on ? 'Sound on' : 'Sound off';
  if (on) {
    audio ??= new AudioContext();
    audio.resume();
    beep(440, 0.15); // so that the person hears that it works
  }
});

function beep(pitch, seconds) {
  const tone = audio.createOscillator(), level = audio.createGain();
  tone.frequency.value = pitch;
  level.gain.setValueAtTime(0.25, audio.currentTime);
  level.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + seconds);
  tone.connect(level).connect(audio.destination);
  tone.start();
  tone.stop(audio.currentTime + seconds);
}

setInterval(() => {
  if (sound?.getAttribute('aria-pressed') !== 'true' || !document.querySelector('[data-loud]')) return;
  sound.dataset.beeps = Number(sound.dataset.beeps ?? 0) + 1;
  beep(880, 0.6);
}, 2000);

document.addEventListener('told', () => { list(); if (document.querySelector('.journal')?.open) journal(); });
list();
