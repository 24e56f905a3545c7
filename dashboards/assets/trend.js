// The trends: least, mean and greatest of each interval, with the limits.
const every = 10000; // ms
let minutes = 10;

function text(value, decimals) {
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
function runs(buckets) {
  const list = [[]];
  for (const b of buckets) {
    if (b.count > 0) list.at(-1).push(b);
    else if (list.at(-1).length) list.push([]);
  }
  return list.filter((run) => run.length);
}

function niceSteps(low, high, wanted) {
  const raw = (high - low) / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((m) => m * power >= raw) * power;
  const list = [];
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) list.push(v);
  return {list, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9))};
}

function draw(figure, trend) {
  const place = figure.querySelector('.chart');
  const factor = Number(figure.dataset.factor);
  const buckets = trend.buckets.map((b) => ({...b, min: b.min * factor, mean: b.mean * factor, max: b.max * factor}));
  const known = buckets.filter((b) => b.count > 0);
  const range = figure.querySelector('.range');
  if (!known.length) {
    range.textContent = 'no data in this period';
    place.replaceChildren();
    return;
  }
  const decimals = Number(figure.dataset.decimals);
  range.textContent = `${text(Math.min(...known.map((b) => b.min)), decimals)} to ${text(Math.max(...known.map((b) => b.max)), decimals)} in the last ${minutes} min`;
  place.innerHTML = picture(place.clientWidth, place.clientHeight, trend, buckets, known, limitsOf(figure));
}

function picture(width, height, trend, buckets, known, limits) {
  const left = 58, right = 10, top = 8, foot = 22;
  const from = Date.parse(trend.from), to = Date.parse(trend.to);
  const [low, high] = bounds(known, limits);
  const x = (t) => (left + (width - left - right) * (Date.parse(t) - from) / (to - from)).toFixed(1);
  const y = (v) => (top + (height - top - foot) * (high - v) / (high - low)).toFixed(1);
  const out = [`<svg viewBox="0 0 ${width} ${height}" aria-hidden="true">`];
  const steps = niceSteps(low, high, 4);
  for (const v of steps.list) {
    out.push(`<path class="grid" d="M${left} ${y(v)}H${width - right}"/><text x="${left - 6}" y="${Number(y(v)) + 4}" text-anchor="end">${text(v, steps.decimals)}</text>`);
  }
  for (const run of runs(buckets)) {
    const upper = run.map((b) => `${x(b.time)} ${y(b.max)}`);
    const lower = run.map((b) => `${x(b.time)} ${y(b.min)}`).reverse();
    out.push(`<path class="spread" d="M${upper.concat(lower).join('L')}z"/>`);
    const mean = run.map((b) => `${x(b.time)} ${y(b.mean)}`);
    out.push(`<path class="mean" d="M${mean.join('L')}${mean.length === 1 ? 'h1' : ''}"/>`);
  }
  for (const {at, name} of limits) {
    if (at < low || at > high) continue;
    out.push(`<path class="limit" d="M${left} ${y(at)}H${width - right}"/><text class="limit-name" x="${left + 4}" y="${Number(y(at)) - 4}">${name}</text>`);
  }
  const clock = (t) => t.slice(11, minutes < 30 ? 19 : 16); // the time of day in the rig's zone, not the reader's
  out.push(`<text x="${left}" y="${height - 6}">${clock(trend.from_local)}</text><text x="${width - right}" y="${height - 6}" text-anchor="end">${clock(trend.to_local)}</text></svg>`);
  return out.join('');
}

// The rig's clock counts, not the reader's, so the daemon chooses `to`.
async function load(figure) {
  const range = figure.querySelector('.range');
  try {
    const query = new URLSearchParams({quantity: figure.dataset.quantity, from: `-${minutes} min`, buckets: 240});
    const answer = await fetch(`/api/trend?${query}`, {cache: 'no-store', signal: AbortSignal.timeout(9000)});
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.detail ?? answer.status);
    draw(figure, said);
  } catch (error) {
    range.textContent = `no trend: ${error.message}`;
    figure.querySelector('.chart').replaceChildren();
  }
}

const figures = [...document.querySelectorAll('figure[data-quantity]')];

async function loadAll() {
  if (document.hidden) return;
  for (const figure of figures) await load(figure);
}

document.querySelector('.spans').addEventListener('click', (event) => {
  const button = event.target.closest('button[data-minutes]');
  if (!button) return;
  minutes = Number(button.dataset.minutes);
  for (const other of document.querySelectorAll('.spans button')) other.setAttribute('aria-pressed', String(other === button));
  loadAll();
});

let resized;
addEventListener('resize', () => { clearTimeout(resized); resized = setTimeout(loadAll, 300); });
document.addEventListener('visibilitychange', loadAll);
setInterval(loadAll, every);
loadAll();
