// What the page asks of the program. Every request goes to the program that served the page.

/** A refusal in the program's own words. */
export class Refusal extends Error {
  constructor(said) {
    super(said.error || 'the program did not answer');
    this.hint = said.hint || '';
    this.quote = said.quote || '';
  }
}

const status = document.getElementById('status');
const trouble = document.getElementById('trouble');
let running = 0;
let slow = 0;

function begin() {
  if (running++ === 0) slow = setTimeout(() => { status.textContent = 'Working …'; }, 500);
}

function end() {
  if (--running === 0) { clearTimeout(slow); if (status.textContent === 'Working …') status.textContent = ''; }
}

async function ask(method, path, body, type) {
  begin();
  try {
    const headers = { 'X-Plumbline': '1' };
    if (body !== undefined) headers['Content-Type'] = type || 'application/json';
    let answer;
    try {
      answer = await fetch(path, { method, headers, body, credentials: 'same-origin' });
    } catch {
      throw new Refusal({ error: 'the program is not running any more', hint: 'start plumbline desk again and open the address it prints' });
    }
    if (!answer.ok) {
      let said;
      try { said = await answer.json(); } catch { said = { error: answer.status === 403 ? 'this page has lost its key' : 'the program refused', hint: answer.status === 403 ? 'open the address that plumbline desk printed' : '' }; }
      throw new Refusal(said);
    }
    return answer;
  } finally { end(); }
}

export const get = async (path) => (await ask('GET', path)).json();
export const getText = async (path) => (await ask('GET', path)).text();
export const post = async (path, value) => (await ask('POST', path, JSON.stringify(value))).json();
export const postRaw = async (path, body) => (await ask('POST', path, body, 'application/octet-stream')).json();
export const sound = async (path) => URL.createObjectURL(await (await ask('GET', path)).blob());

/** learner is who answers, '' for the nameless one. */
export const learner = () => localStorage.getItem('learner') || '';

/** say shows a refusal where everybody sees it; say() takes it away. */
export function say(error) {
  if (!error) { trouble.hidden = true; trouble.textContent = ''; return; }
  trouble.textContent = [error.message, error.quote, error.hint].filter(Boolean).join('\n');
  trouble.hidden = false;
}

/** guard runs f and shows what goes wrong. */
export function guard(f) {
  return async (...args) => {
    try { say(); return await f(...args); } catch (e) { say(e); if (!(e instanceof Refusal)) console.error(e); return undefined; }
  };
}

/** el makes an element with text or children. */
export function el(name, attrs = {}, ...inside) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attrs)) {
    if (k === 'class') e.className = v;
    else if (k.startsWith('on')) e.addEventListener(k.slice(2), v);
    else if (v !== false && v !== undefined && v !== null) e.setAttribute(k, v === true ? '' : v);
  }
  e.append(...inside.filter((x) => x !== null && x !== undefined && x !== ''));
  return e;
}

/** picture puts an SVG that the program drew into a box. */
export function picture(box, svg) {
  // The page has a sheet of its own, and allows no other.
  const doc = new DOMParser().parseFromString(svg.replace(/<style>[^]*?<\/style>/g, ''), 'image/svg+xml');
  if (doc.querySelector('parsererror')) { box.textContent = 'The picture could not be read.'; return null; }
  box.replaceChildren(document.importNode(doc.documentElement, true));
  return box.firstElementChild;
}
