// The live page: reads the stream of parts, puts each in its place, and says
// at once when nothing comes any more. The stream has something to say every
// second, so 2.5 s of silence is a lost connection.
const lostAfter = 2500;
const slowest = 2000; // ms between two attempts, at most: a daemon that is back is seen within 3 s
const root = document.documentElement;
const lost = document.getElementById('lost');
const link = document.getElementById('link');

let lastHeard = performance.now();
const patience = 30000; // ms that one attempt waits for a daemon that is slow to answer
let attempt = null; // the present one: {begun, answered, stop, leave, over}
let patient = null; // one before it, which waits on beside it

function put(name, html) {
  if (name === 'build') {
    if (html !== root.dataset.build) location.reload();
    return;
  }
  if (name === 'told') {
    document.dispatchEvent(new CustomEvent('told')); // something was recorded
    return;
  }
  const place = document.querySelector(`[data-part="${name}"]`);
  if (!place) return;
  const held = place.contains(document.activeElement) ? document.activeElement : null;
  place.innerHTML = html;
  if (held && held !== place) keepFocus(place, held.id);
  reach(place);
  if (name === 'sign' || name === 'word' || name === 'band') retitle();
}

// keepFocus leaves the focus where the hand was: on the same button, on what took
// its place, or on the section.
function keepFocus(place, id) {
  const next = (id && document.getElementById(id)) || [...place.querySelectorAll('button.act')].find((b) => b.offsetParent) || place;
  next.focus({preventScroll: true});
}

// What must be scrolled to be read can be scrolled by the keyboard too.
function reach(place) {
  for (const box of [place, ...place.querySelectorAll('.told')]) {
    if (!/auto|scroll/.test(getComputedStyle(box).overflowY)) continue;
    const long = box.scrollHeight > box.clientHeight;
    if (long) box.tabIndex = 0;
    else if (box.hasAttribute('tabindex')) box.tabIndex = -1;
  }
}
addEventListener('resize', () => { for (const place of document.querySelectorAll('[data-part]')) reach(place); });

// A tab in the background shows the alarm by its title and its icon.
const name = document.querySelector('h1').textContent.trim().split(':')[0].replaceAll(/\s+/g, ' ');
function retitle() {
  const word = document.querySelector('[data-word]')?.dataset.word ?? '';
  const alarm = document.querySelector('.band .name')?.textContent ?? document.querySelector('.next .alarmed strong')?.textContent ?? '';
  const title = `${alarm ? `▲ ${alarm} · ` : ''}${word} · ${name}`;
  if (document.title !== title) document.title = title;
  const icon = document.getElementById('icon');
  const wanted = alarm ? '/assets/alarm.svg' : '/assets/icon.svg';
  if (icon.getAttribute('href') !== wanted) icon.setAttribute('href', wanted);
}

// The one clock of the page is the rig's, in the zone that it names.
function rigsTime() {
  const shown = document.querySelector('[data-part="clock"]')?.lastChild?.textContent.trim() ?? '';
  return /[0-9]/.test(shown) ? shown : 'an earlier time';
}

function show(state) {
  if (root.dataset.link === state && state !== 'lost') return;
  root.dataset.link = state;
  lost.hidden = state !== 'lost';
  if (link) link.textContent = state === 'live' ? 'Connected' : state === 'lost' ? 'Not connected' : 'Connecting';
  if (state === 'lost') {
    const text = `Connection lost. What you see is from ${rigsTime()}, not from now. Trying again.`;
    if (lost.textContent !== text) lost.textContent = text;
  }
}

function take(block) {
  let kind = 'message';
  let data = '';
  for (const line of block.split('\n')) {
    if (line.startsWith('event: ')) kind = line.slice(7);
    if (line.startsWith('data: ')) data += line.slice(6);
  }
  if (kind !== 'page' || !data) return;
  for (const [name, html] of Object.entries(JSON.parse(data))) put(name, html);
  show('live');
}

async function read(body) {
  const reader = body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = '';
  for (;;) {
    const {value, done} = await reader.read();
    if (done) return;
    lastHeard = performance.now();
    rest += value;
    for (let end; (end = rest.indexOf('\n\n')) >= 0; rest = rest.slice(end + 2)) take(rest.slice(0, end));
  }
}

async function run(mine) {
  const answer = await fetch('/page/follow', {signal: mine.stop.signal, cache: 'no-store'});
  if (answer.status === 401 || answer.status === 403) location.reload(); // shows the form to sign in
  if (!answer.ok) throw new Error(`the daemon answers ${answer.status}`);
  mine.answered = true;
  lastHeard = performance.now();
  for (const other of [attempt, patient]) if (other !== mine) other?.stop.abort();
  await read(answer.body);
}

// connect ends with its connection, or when it is left to wait by itself. The watchdog
// tells the person of a failure; here it is only tried again.
function connect() {
  const mine = {begun: performance.now(), answered: false, stop: new AbortController()};
  const left = new Promise((done) => { mine.leave = done; });
  attempt = mine;
  mine.over = run(mine).catch(() => {}).finally(() => { if (patient === mine) patient = null; });
  return Promise.race([mine.over, left]);
}

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

async function follow() {
  for (let pause = 250; ; pause = Math.min(slowest, pause * 2)) {
    await (patient?.answered ? patient.over : connect());
    if (patient?.answered) continue;
    if (performance.now() - attempt.begun > slowest) pause = 250;
    await wait(pause * (0.75 + Math.random() / 2));
  }
}

function watch() {
  const now = performance.now();
  if (now - lastHeard < lostAfter) return;
  show('lost');
  const hangs = (one, limit) => one !== null && (one.answered || now - one.begun > limit);
  if (hangs(patient, patience)) patient.stop.abort();
  if (attempt === patient || !hangs(attempt, lostAfter)) return;
  if (attempt.answered || patient) {
    attempt.stop.abort();
  } else { // a daemon that is slow answers it in the end; one that is back answers the next
    patient = attempt;
    attempt.leave();
  }
}

setInterval(watch, 250);
document.addEventListener('visibilitychange', watch);
retitle();
follow();
