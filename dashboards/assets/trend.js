// The trends: least, mean and greatest of each interval, with the limits, the test
// points and the observations. A drag looks closer; pointing or the arrow keys read.
import {rigsTime} from './clock.js';

const every = 5000; // ms between two looks at the recording, for short windows
const buckets = 240;
const youth = 5000; // ms of data, with less of which there is no picture yet
let minutes = 10; // 0: all that is recorded
let chosen = null; // [from, to] in ms, where somebody looks closer
let marks = []; // {at, kind, says}
let loading = false;
const figures = [...document.querySelectorAll('figure[data-quantity]')];
const cross = document.getElementById('cross');
const shown = new Map(); // of each figure: the trend as it is drawn, and its scales

export function text(value, decimals) {
  return value.toLocaleString('en', {minimumFractionDigits: decimals, maximumFractionDigits: decimals}).replaceAll(',', '\u202f');
}

function limitsOf(figure) {
  return [...figure.querySelectorAll('data')].map((d) => ({at: Number(d.value), name: d.textContent}));
}

// bounds take in the data, and a limit only where it is near: a far one would
// press the curve flat.
function bounds(points, limits) {
  let low = Math.min(...points.map((p) => p.min));
  let high = Math.max(...points.map((p) => p.max));
  const span = Math.max(high - low, Math.abs(high) * 0.02, 1e-6);
  const spare = (span - (high - low)) / 2; // noise alone does not fill the picture
  [low, high] = [low - spare, high + spare];
  for (const {at} of limits) {
    if (at > low - 2 * span && at < high + 2 * span) {
      low = Math.min(low, at);
      high = Math.max(high, at);
    }
  }
  const room = Math.max((high - low) * 0.08, span * 0.1);
  return [low - room, high + room];
}

// runs cuts the points where nothing was known, so that no line bridges a gap.
// Where rows are rarer than intervals, empty ones between two rows are no gap.
function runs(list, gap) {
  const out = [[]];
  let empty = 0;
  for (const b of list) {
    if (b.count > 0) {
      if (empty > gap && out.at(-1).length) out.push([]);
      out.at(-1).push(b);
      empty = 0;
    } else {
      empty++;
    }
  }
  return out.filter((run) => run.length);
}

function niceSteps(low, high, wanted) {
  const raw = (high - low) / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  let step, list;
  for (const m of [10, 5, 2, 1]) { // the widest that leaves two marks at least
    if (list?.length >= 2 && m * power < raw) break;
    step = m * power;
    list = [];
    for (let v = Math.ceil(low / step) * step; v <= high; v += step) list.push(v);
  }
  return {list, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9))};
}

// scaled brings an answer into the unit of the bench.
function scaled(figure, trend) {
  const factor = Number(figure.dataset.factor);
  const list = trend.buckets.map((b) => ({...b, at: Date.parse(b.time), min: b.min * factor, mean: b.mean * factor, max: b.max * factor}));
  return {...trend, buckets: list, known: list.filter((b) => b.count > 0), begin: Date.parse(trend.from), end: Date.parse(trend.to)};
}

// clock writes a time of a trend, as finely as its length asks for.
function clock(trend, at) {
  const text = rigsTime(at), long = trend.end - trend.begin;
  if (long > 3 * 86400000) return text.slice(0, 10);
  if (long > 86400000) return text.slice(5, 16);
  return text.slice(11, long < 1800000 ? 19 : 16);
}

function draw(figure, trend) {
  const place = figure.querySelector('.chart');
  const range = figure.querySelector('.range');
  const young = !chosen && !(trend.known.length >= 2 && trend.end - trend.known[0].at >= youth);
  if (young || !trend.known.length) {
    tell(figure, young ? 'The recording has just begun: the trend begins within some seconds.' : 'Nothing is recorded in this period.');
    return;
  }
  const decimals = Number(figure.dataset.decimals);
  range.textContent = `${text(Math.min(...trend.known.map((b) => b.min)), decimals)} to ${text(Math.max(...trend.known.map((b) => b.max)), decimals)}`;
  const limits = limitsOf(figure);
  const scale = scaleOf(place, trend, limits);
  shown.set(figure, {trend, scale, summary: range.textContent});
  place.innerHTML = picture(scale, trend, limits);
}

// tell puts words in the place of the picture.
function tell(figure, words) {
  figure.querySelector('.range').textContent = '';
  const said = document.createElement('p');
  said.className = 'soft';
  said.textContent = words;
  figure.querySelector('.chart').replaceChildren(said);
  shown.delete(figure);
}

function scaleOf(place, trend, limits) {
  const size = parseFloat(getComputedStyle(place).fontSize);
  const width = place.clientWidth, height = place.clientHeight;
  const left = size * 4.6, right = size * 0.8, top = size * 0.7, foot = size * 1.8;
  const [low, high] = bounds(trend.known, limits);
  return {
    width, height, left, right, top, foot, low, high, size,
    x: (at) => left + (width - left - right) * (at - trend.begin) / (trend.end - trend.begin),
    y: (v) => top + (height - top - foot) * (high - v) / (high - low),
    back: (x) => trend.begin + (trend.end - trend.begin) * Math.min(1, Math.max(0, (x - left) / (width - left - right))),
  };
}

function picture(s, trend, limits) {
  const {width, height, left, right, top, foot, low, high, size} = s;
  const x = (at) => s.x(at).toFixed(1), y = (v) => s.y(v).toFixed(1);
  const out = [`<svg viewBox="0 0 ${width} ${height}" aria-hidden="true">`];
  const two = limits.filter(({name}) => name.endsWith(' limit')).map((l) => Math.min(high, Math.max(low, l.at)));
  if (two.length === 2 && two[0] < two[1]) out.push(`<rect class="between" x="${left}" y="${y(two[1])}" width="${width - left - right}" height="${(s.y(two[0]) - s.y(two[1])).toFixed(1)}"/>`);
  const steps = niceSteps(low, high, Math.min(6, Math.max(2, Math.floor((height - top - foot) / (size * 2.2)))));
  for (const v of steps.list) {
    out.push(`<path class="grid" d="M${left} ${y(v)}H${width - right}"/><text x="${left - size / 2}" y="${s.y(v) + size / 3}" text-anchor="end">${text(v, steps.decimals)}</text>`);
  }
  for (const {at, name} of limits) {
    if (at < low || at > high) continue;
    out.push(`<path class="limit" d="M${left} ${y(at)}H${width - right}"/><text class="limit-name" x="${left + 4}" y="${s.y(at) - 4}">${name}</text>`);
  }
  for (const run of runs(trend.buckets, trend.gap ?? 0)) {
    const upper = run.map((b) => `${x(b.at)} ${y(b.max)}`);
    const lower = run.map((b) => `${x(b.at)} ${y(b.min)}`).reverse();
    out.push(`<path class="spread" d="M${upper.concat(lower).join('L')}z"/>`);
    const mean = run.map((b) => `${x(b.at)} ${y(b.mean)}`);
    out.push(`<path class="mean" d="M${mean.join('L')}${mean.length === 1 ? 'h1' : ''}"/>`);
  }
  for (const m of marks) {
    if (!(m.at >= trend.begin && m.at <= trend.end)) continue;
    out.push(`<text class="mark" x="${x(m.at)}" y="${height - foot - 2}" text-anchor="middle">${m.kind === 'point' ? '▲' : '●'}</text>`);
  }
  out.push(`<text x="${left}" y="${height - size / 2}">${clock(trend, trend.begin)}</text><text x="${width - right}" y="${height - size / 2}" text-anchor="end">${clock(trend, trend.end)}</text></svg>`);
  return out.join('');
}

async function ask(figure, window) {
  const query = new URLSearchParams({quantity: figure.dataset.quantity, buckets, ...window});
  const answer = await fetch(`/api/trend?${query}`, {cache: 'no-store', signal: AbortSignal.timeout(19000)});
  const said = await answer.json();
  if (!answer.ok) throw new Error(said.detail ?? answer.status);
  return scaled(figure, said);
}

const iso = (at) => new Date(at).toISOString();
let eldest = 0; // the beginning of the recording, once it is found

// windowOf finds the window by the first figure. Where it is mostly empty, because the
// recording has just begun, it is the part with something in it. The rig's clock counts,
// so the daemon chooses the end.
async function windowOf(figure) {
  if (chosen) return {from: iso(chosen[0]), to: iso(chosen[1])};
  let window = {from: `-${minutes} min`};
  if (minutes === 0) window = {from: eldest ? iso(eldest) : '2000-01-01T00:00:00Z'};
  let trend = await ask(figure, window);
  for (let round = 0; round < 5 && trend.known.length; round++) {
    const first = trend.known[0].at, long = trend.end - trend.begin;
    if (first - trend.begin < long / 10 || trend.end - first < youth) break;
    trend = await ask(figure, {from: iso(first - (round > 2 ? 0 : long / buckets)), to: trend.to});
  }
  if (minutes === 0 && trend.known.length) eldest = trend.begin;
  return {from: trend.from, to: trend.to};
}

function fail(figure, error) {
  tell(figure, `No trend: ${error.message}.`);
}

async function show(figure, window) {
  try {
    const trend = await ask(figure, window);
    // A row a second in shorter intervals leaves some empty.
    trend.gap = Math.ceil(3000 / ((trend.end - trend.begin) / buckets));
    draw(figure, trend);
  } catch (error) {
    fail(figure, error);
  }
}

async function loadAll() {
  if (document.hidden || loading) return;
  loading = true;
  try {
    const window = await windowOf(figures[0]);
    for (const figure of figures) if (onScreen(figure) || !shown.has(figure)) await show(figure, window);
    crossPicture();
  } catch (error) {
    for (const figure of figures) fail(figure, error);
  } finally {
    loading = false;
  }
}

function onScreen(figure) {
  const box = figure.getBoundingClientRect();
  return figure === figures[0] || figure === figures[1] || box.bottom > -200 && box.top < innerHeight + 200;
}

// crossPicture draws Re against temperature, by the buckets of the two trends.
function crossPicture() {
  const [re, heat] = ['reynolds_number', 'temperature_celsius'].map((q) => shown.get(figures.find((f) => f.dataset.quantity === q))?.trend);
  const place = cross?.querySelector('.chart');
  if (!place) return;
  const by = new Map(heat?.known.map((b) => [b.time, b]) ?? []);
  const pairs = (re?.known ?? []).filter((b) => by.has(b.time)).map((b) => ({t: by.get(b.time).mean, re: b.mean}));
  if (pairs.length < 2) {
    tell(cross, 'It is drawn when both trends are.');
    return;
  }
  const size = parseFloat(getComputedStyle(place).fontSize);
  const width = place.clientWidth, height = place.clientHeight, left = size * 4.6, right = size, top = size * 0.8, foot = size * 2;
  const of = (list) => bounds(list.map((v) => ({min: v, max: v})), []);
  const [t0, t1] = of(pairs.map((p) => p.t)), [r0, r1] = of(pairs.map((p) => p.re));
  const x = (t) => (left + (width - left - right) * (t - t0) / (t1 - t0)).toFixed(1);
  const y = (r) => (top + (height - top - foot) * (r1 - r) / (r1 - r0)).toFixed(1);
  const out = [`<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="Reynolds number against temperature">`];
  const up = niceSteps(r0, r1, 4), along = niceSteps(t0, t1, 4);
  for (const r of up.list) out.push(`<path class="grid" d="M${left} ${y(r)}H${width - right}"/><text x="${left - 6}" y="${Number(y(r)) + 4}" text-anchor="end">${text(r, up.decimals)}</text>`);
  for (const t of along.list) out.push(`<path class="grid" d="M${x(t)} ${top}V${height - foot}"/><text x="${x(t)}" y="${height - 6}" text-anchor="middle">${text(t, along.decimals)} °C</text>`);
  for (const p of pairs) out.push(`<circle class="cloud" r="2" cx="${x(p.t)}" cy="${y(p.re)}"/>`);
  const last = pairs.at(-1);
  out.push(`<circle class="dot" r="5" cx="${x(last.t)}" cy="${y(last.re)}"/></svg>`);
  place.innerHTML = out.join('');
}

// read shows the value at a place of the picture.
function read(figure, x) {
  const {trend, scale} = shown.get(figure);
  const at = scale.back(x);
  const near = trend.known.reduce((best, b) => Math.abs(b.at - at) < Math.abs(best.at - at) ? b : best);
  const decimals = Number(figure.dataset.decimals);
  const mark = marks.find((m) => Math.abs(scale.x(m.at) - x) < 8);
  figure.querySelector('.range').textContent = `${clock(trend, near.at)}: ${text(near.mean, decimals)} (${text(near.min, decimals)} to ${text(near.max, decimals)})${mark ? `; ${mark.says}` : ''}`;
  line(figure, scale.x(near.at));
  return near;
}

function line(figure, x) {
  const svg = figure.querySelector('.chart svg');
  let path = svg.querySelector('.cursor');
  if (!path) {
    path = document.createElementNS('http://www.w3.org/2000/svg', 'path');
    path.setAttribute('class', 'cursor');
    svg.prepend(path);
  }
  const {scale} = shown.get(figure);
  path.setAttribute('d', `M${x.toFixed(1)} ${scale.top}V${scale.height - scale.foot}`);
}

function rest(figure) {
  const s = shown.get(figure);
  if (!s) return;
  figure.querySelector('.range').textContent = s.summary;
  figure.querySelector('.cursor')?.remove();
}

function closer(from, to) {
  chosen = [from, to];
  document.getElementById('to-now').hidden = false;
  refresh();
}

function refresh() {
  shown.clear();
  loadAll();
}

// band draws what a drag has chosen.
function band(figure, from, to) {
  const svg = figure.querySelector('.chart svg');
  let rect = svg?.querySelector('.chosen');
  if (!svg) return;
  if (!rect) {
    rect = document.createElementNS('http://www.w3.org/2000/svg', 'rect');
    rect.setAttribute('class', 'chosen');
    svg.append(rect);
  }
  const {scale} = shown.get(figure);
  const entries = {x: Math.min(from, to), y: scale.top, width: Math.abs(to - from), height: scale.height - scale.top - scale.foot};
  for (const [key, value] of Object.entries(entries)) rect.setAttribute(key, value.toFixed(1));
}

for (const figure of figures) {
  tell(figure, 'The recording is being read.');
  const place = figure.querySelector('.chart');
  const at = (event) => event.clientX - place.getBoundingClientRect().left;
  let begun = null;
  let key = null;
  place.addEventListener('pointerdown', (event) => { if (shown.has(figure)) begun = at(event); });
  place.addEventListener('pointermove', (event) => {
    if (!shown.has(figure)) return;
    read(figure, at(event));
    if (begun !== null) band(figure, begun, at(event));
  });
  place.addEventListener('pointerup', (event) => {
    const from = begun, to = at(event);
    begun = null;
    if (from === null || !shown.has(figure) || Math.abs(to - from) < 6) return;
    const {scale} = shown.get(figure);
    closer(scale.back(Math.min(from, to)), scale.back(Math.max(from, to)));
  });
  place.addEventListener('pointerleave', () => { begun = null; rest(figure); });
  place.addEventListener('blur', () => { key = null; rest(figure); });
  place.addEventListener('keydown', (event) => {
    const step = {ArrowLeft: -1, ArrowRight: 1}[event.key];
    if (!step || !shown.has(figure)) return;
    event.preventDefault();
    const {scale} = shown.get(figure);
    key = Math.min(scale.width - scale.right, Math.max(scale.left, (key ?? scale.width - scale.right) + step * 6));
    read(figure, key);
    place.setAttribute('aria-label', figure.querySelector('figcaption').textContent);
  });
}

document.querySelector('.spans')?.addEventListener('click', (event) => {
  const button = event.target.closest('button');
  if (!button) return;
  chosen = null;
  document.getElementById('to-now').hidden = true;
  if (button.dataset.minutes) minutes = Number(button.dataset.minutes);
  for (const other of document.querySelectorAll('.spans button[data-minutes]')) other.setAttribute('aria-pressed', String(Number(other.dataset.minutes) === minutes));
  refresh();
});

// The notebook's script finds the marks.
document.addEventListener('marks', (event) => {
  marks = event.detail;
  for (const [figure, {trend}] of shown) draw(figure, trend);
});

let resized;
addEventListener('resize', () => {
  clearTimeout(resized);
  resized = setTimeout(() => {
    for (const [figure, {trend}] of shown) draw(figure, trend);
    crossPicture();
  }, 100);
});
let scrolled;
addEventListener('scroll', () => { clearTimeout(scrolled); scrolled = setTimeout(loadAll, 200); }, {passive: true});
document.addEventListener('visibilitychange', loadAll);
let ticks = 0;
setInterval(() => { if (minutes > 0 && minutes <= 10 || ++ticks % 4 === 0) loadAll(); }, every);
loadAll();
