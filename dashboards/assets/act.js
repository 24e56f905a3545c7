// What a person can do: sign in and out, answer alarms, give and withdraw the permit.
const root = document.documentElement;
const who = document.getElementById('who');
const answerLine = document.getElementById('answer');

let toldUntil;
export function tell(text) {
  answerLine.textContent = text;
  clearTimeout(toldUntil);
  toldUntil = setTimeout(() => { answerLine.textContent = ''; }, 15000);
}

export async function call(method, path, body) {
  const answer = await fetch(path, {
    method,
    headers: body ? {'Content-Type': 'application/json'} : {},
    body: body ? JSON.stringify(body) : undefined,
    cache: 'no-store',
    signal: AbortSignal.timeout(8000),
  });
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(said.detail ?? `the daemon answers ${answer.status}`);
  return said;
}

function become(session) {
  const before = root.dataset.role;
  root.dataset.role = session.role ?? '';
  if (who) who.textContent = session.role ? `${session.name} (${session.role})` : 'Sign in';
  if (before !== root.dataset.role && !document.querySelector('[data-part]') && session.role) location.reload();
}

export async function attempt(work) {
  try {
    await work();
  } catch (error) {
    tell(`Not done: ${error.message}.`);
  }
}

document.getElementById('sign-in')?.addEventListener('submit', (event) => {
  event.preventDefault();
  const input = document.getElementById('token');
  attempt(async () => {
    become(await call('POST', '/api/session', {token: input.value.trim()}));
    input.value = '';
    tell('Signed in.');
    who.parentElement.open = false;
  });
});

document.getElementById('sign-out')?.addEventListener('click', () => attempt(async () => {
  become(await call('DELETE', '/api/session'));
  tell('Signed out.');
}));

const permitWords = {give: 'permit given', withdraw: 'permit withdrawn', 'proof-test': 'proof test begun'};

// request is what a button asks for: path, body, and words for the answer.
function request({alarm, verb, permit, without, stop, still}) {
  if (still) return ['/api/dye', {action: 'still'}, 'the still thread is taken over the next 10 s'];
  if (stop) return [`/api/experiments/${encodeURIComponent(stop)}/stop`, {}, 'experiment stopped'];
  if (permit) return ['/api/permit', without ? {action: permit, without: without.split(' ')} : {action: permit}, permitWords[permit]];
  return [`/api/alarms/${encodeURIComponent(alarm)}/${verb}`, {}, `${verb} ${alarm}`];
}

document.addEventListener('click', (event) => {
  const button = event.target.closest('button.act[data-verb], button.act[data-permit], button.act[data-stop], button.act[data-still]');
  if (!button || button.ariaDisabled === 'true' || button.dataset.sure && !confirm(button.dataset.sure)) return;
  const [path, body, words] = request(button.dataset);
  button.ariaDisabled = 'true'; // one that is disabled would lose the focus
  attempt(async () => {
    await call('POST', path, body);
    tell(`Done: ${words}.`);
  }).finally(() => { button.ariaDisabled = null; });
});

// After a link from elsewhere the first request carries no cookie; this one does.
attempt(async () => become(await call('GET', '/api/session')));
