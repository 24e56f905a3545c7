// The panel of the simulated rig: what is set by hand, what can befall the rig, and the
// first lesson, whose steps are ticked off by what the daemon says.
import {attempt, call, tell} from './act.js';

const root = document.documentElement;
const at = (id) => document.getElementById(id);
const stateLine = at('simulator-state');

// What a person holds is not moved under the hand.
const put = (input, value) => { if (document.activeElement !== input && input.value !== String(value)) input.value = value; };

let listed = '';
function listScenarios(all, now) {
  const names = all.map((s) => s.name).join(' ');
  if (listed !== names) {
    listed = names;
    at('scenarios').replaceChildren(...all.map((s) => {
      const line = document.createElement('li');
      const button = document.createElement('button');
      button.type = 'button';
      button.id = `scenario-${s.name}`;
      button.textContent = s.name;
      button.addEventListener('click', () => set({scenario: s.name}, `${s.name} begins`));
      line.append(button, ` ${s.about}`);
      return line;
    }));
  }
  for (const s of all) at(`scenario-${s.name}`).toggleAttribute('aria-current', s.name === now);
}

function show(now) {
  put(at('hand-valve'), now.valve);
  at('hand-valve-now').textContent = `${now.valve_now.toFixed(3)}${Math.abs(now.valve_now - now.valve) > 0.002 ? ', turning' : ''}`;
  put(at('hand-supply'), now.supply);
  put(at('hand-heater'), now.heater);
  at('hand-dye').checked = now.dye;
  const speed = at('hand-speed');
  if (![...speed.options].some((o) => Number(o.value) === now.speed)) speed.add(new Option(`${now.speed} times`, now.speed));
  put(speed, now.speed);
  at('hand-pause').setAttribute('aria-pressed', String(now.pause));
  at('hand-pause').textContent = now.pause ? 'Go on' : 'Pause';
  stateLine.textContent = `${now.scenario ? `It plays ${now.scenario}` : 'Set by hand'}, ${now.pause ? 'paused: rig and daemon stand still' : now.speed === 1 ? 'as fast as the clock' : `${now.speed} times as fast as the clock`}.`;
  listScenarios(now.scenarios, now.scenario);
}

async function look() {
  try {
    show(await call('GET', '/api/simulator'));
  } catch (error) {
    stateLine.textContent = `Not known: ${error.message}`;
  }
}

function set(change, words) {
  return attempt(async () => {
    show(await call('POST', '/api/simulator', change));
    tell(`Done: ${words}.`);
  });
}

at('hands').addEventListener('submit', (event) => event.preventDefault());
at('hand-valve').addEventListener('change', (e) => set({valve: Number(e.target.value)}, `the valve turns to ${e.target.value}`));
at('hand-supply').addEventListener('change', (e) => set({supply: e.target.value}, `supply ${e.target.value}`));
at('hand-heater').addEventListener('change', (e) => set({heater: e.target.value}, `thermostat ${e.target.value}`));
at('hand-dye').addEventListener('change', (e) => set({dye: e.target.checked}, e.target.checked ? 'dye on' : 'dye off'));
at('hand-speed').addEventListener('change', (e) => set({speed: Number(e.target.value)}, `speed ${e.target.value}`));
at('hand-pause').addEventListener('click', (e) => set({pause: e.target.getAttribute('aria-pressed') !== 'true'}, 'pause or go on'));

// The lesson. Each step is done when its question is answered with yes; state is what
// the daemon said last, own what this person has written down since the beginning.
const aim = 0.6e-3 / 60; // m³/s
const near = 0.05e-3 / 60;
const steps = {
  start: ({state}) => state.regime === 'turbulent',
  valve: ({state}) => Math.abs(state.flow_cubic_meters_per_second - aim) <= near,
  regime: ({state}) => state.regime === 'laminar',
  dye: ({own}) => own('observations').some((o) => o.seen === 'laminar' && !o.sensor),
  capture: ({own}) => own('test-points').length > 0,
  report: ({opened}) => opened,
};
const lesson = {state: {}, results: {}, known: new Set(), opened: false, step: '', own: (kind) => (lesson.results[kind] ?? []).filter((r) => !lesson.known.has(r.sequence) && !r.struck)};
let stream = null;

function mark() {
  const names = Object.keys(steps);
  for (const name of names) {
    const line = document.querySelector(`#lesson li[data-step="${name}"]`);
    line.toggleAttribute('data-now', name === lesson.step);
    line.toggleAttribute('data-done', lesson.step !== '' && (lesson.step === 'end' || names.indexOf(name) < names.indexOf(lesson.step)));
  }
  const n = names.indexOf(lesson.step);
  at('lesson-state').textContent = lesson.step === 'end' ? 'The lesson is done.' : n < 0 ? 'Not begun.' : `Step ${n + 1} of ${names.length}.`;
}

function judge() {
  const names = Object.keys(steps);
  const n = names.indexOf(lesson.step);
  if (n < 0 || !steps[lesson.step](lesson)) return;
  lesson.step = names[n + 1] ?? 'end';
  if (lesson.step === 'end') stream?.close();
  mark();
}

async function fetchResults() {
  for (const kind of ['observations', 'test-points']) {
    lesson.results[kind] = (await call('GET', `/api/${kind}?limit=20`))[kind.replaceAll('-', '_')] ?? [];
  }
  judge();
}

at('lesson-start').addEventListener('click', () => attempt(async () => {
  await fetchResults();
  lesson.known = new Set(Object.values(lesson.results).flat().map((r) => r.sequence));
  show(await call('POST', '/api/simulator', {scenario: 'steady', dye: true, pause: false}));
  Object.assign(lesson, {step: 'start', opened: false, results: {}});
  mark();
  stream?.close();
  stream = new EventSource('/api/follow');
  stream.addEventListener('state', (event) => { lesson.state = JSON.parse(event.data); judge(); });
  stream.addEventListener('event', () => fetchResults().catch(() => {})); // it is asked again with the next one
  tell('The lesson has begun.');
}));
at('lesson-report').addEventListener('click', () => { lesson.opened = true; judge(); });

setInterval(() => { if (root.dataset.role === 'operate' && !document.hidden) look(); }, 1000);
look();
