// Drills: asked by sound or by sight, answered with keys, the mouse, an on-screen keyboard or a line of text.
import { el, get, guard, learner, picture, post, say, sound } from './api.js';
import { openPassage } from './music.js';

const $ = (id) => document.getElementById(id);
let base = ''; // address of what is asked: a drill, or one claim
let question = null;
let answered = null;
const names12 = ['C', 'C#', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B'];

export function setupDrill(start) {
  const kind = $('kind');
  const group = (label, ...options) => kind.append(el('optgroup', { label }, ...options));
  group('Chosen for you', el('option', { value: 'planned' }, 'What your record says you need'));
  group('One kind of question', ...start.kinds.map((k) => el('option', { value: `kind ${k.kind}` }, k.title)));
  group('A deck, easy to hard', ...start.decks.map((d) => el('option', { value: `deck ${d.name}` }, d.title)));
  const chosen = () => {
    const [what, name] = kind.value.split(' ');
    const k = what === 'kind' && start.kinds.find((x) => x.kind === name);
    const d = what === 'deck' && start.decks.find((x) => x.name === name);
    $('level-box').hidden = what === 'planned';
    $('level-label').textContent = d ? 'Step' : 'How hard';
    $('level').replaceChildren(...(d ? [el('option', { value: 0 }, 'the first not passed yet')] : []),
      ...(k ? k.levels : d ? d.steps : []).map((n, i) => el('option', { value: i + 1 }, `${i + 1}  ${n}`)));
    $('kind-about').textContent = k ? `Asked: ${name === 'dictation' ? 'the notes, entered on a keyboard or typed' : k.about.replace(/ *….*$/, ' and so on')}.` : d ? d.about : 'What is due, what you confuse side by side, as hard as you can just do. Without a record it begins with major and minor triads.';
    $('sight').disabled = d || k && !k.sight;
    $('from-passage').disabled = !openPassage() || !k;
    if ($('sight').disabled) $('sight').checked = false;
    if ($('from-passage').disabled) $('from-passage').checked = false;
    $('level').disabled = $('from-passage').checked;
    for (const id of ['drill-at', 'drill-at-label']) $(id).hidden = !$('from-passage').checked;
  };
  for (const id of ['kind', 'from-passage']) $(id).addEventListener('change', chosen);
  addEventListener('hashchange', chosen);
  chosen();
  $('learner').value = learner();
  $('learner').addEventListener('change', () => localStorage.setItem('learner', $('learner').value.trim()));
  $('learner').addEventListener('focus', guard(async () => $('learners').replaceChildren(...(await get('/api/learners')).map((n) => el('option', { value: n })))));
  $('drill-form').addEventListener('submit', (e) => { e.preventDefault(); guard(begin)(); });
  for (const b of $('replays').children) b.addEventListener('click', guard(() => listen(b.dataset.what)));
  $('give-up').addEventListener('click', guard(() => answer('', true)));
  $('typed-go').addEventListener('click', guard(() => answer($('typed').value)));
  $('typed').addEventListener('keydown', (e) => { if (e.key === 'Enter' && !answered) { e.preventDefault(); guard(() => answer($('typed').value))(); } });
  $('typed').addEventListener('change', guard(async () => { if (!$('pad').hidden) await pad(); }));
  $('take-back').addEventListener('click', guard(async () => { $('typed').value = entered().slice(0, -1).join(' '); await pad(); }));
  $('clear').addEventListener('click', guard(async () => { $('typed').value = ''; await pad(); }));
  $('next').addEventListener('click', guard(next));
  $('compare').addEventListener('click', guard(() => play('compare')));
  addEventListener('keydown', keyed);
  const before = sessionStorage.getItem('drill');
  if (before) { base = before; guard(async () => { try { await next(); } catch { sessionStorage.removeItem('drill'); base = ''; } })(); }
}

async function begin() {
  const p = openPassage();
  const [what, name] = $('kind').value.split(' ');
  const from = what === 'kind' && $('from-passage').checked && p;
  const got = await post('/api/drill', {
    kind: what === 'kind' ? name : '', planned: what === 'planned', deck: what === 'deck' ? name : '', step: what === 'deck' ? Number($('level').value) : 0,
    level: what === 'kind' && !from ? Number($('level').value) : 0, count: Number($('count').value), sight: $('sight').checked, learner: learner(),
    passage: from ? p.id : '', at: from ? $('drill-at').value.trim() : '',
  });
  await take(`/api/drill/${got.id}`);
}

/** askEar asks whether a claim of the open passage is heard. */
export async function askEar(claims, line) {
  const got = await post(`/api/passage/${openPassage().id}/ear`, { claims, line, learner: learner() });
  location.hash = '#drill';
  await take(`/api/ear/${got.id}`);
}

async function take(address) {
  base = address;
  sessionStorage.setItem('drill', base);
  await next();
}

async function next() {
  question = await get(base);
  answered = null;
  $('question').hidden = false;
  $('told-answer').hidden = true;
  $('next').hidden = true;
  $('compare').hidden = true;
  $('heading').textContent = question.heading;
  if (question.over) { over(question.result); return; }
  const claim = question.kind === 'claim';
  const dictation = question.kind === 'dictation';
  $('choices').hidden = question.choices.length === 0;
  $('typing').hidden = claim;
  $('give-up').hidden = false;
  $('replays').hidden = question.sight;
  for (const b of $('replays').children) b.hidden = claim && b.dataset.what !== '';
  const so = `${question.right} of ${question.asked} right so far`;
  $('counter').textContent = claim ? `Question ${question.number}; ${so}. It goes on until your answers decide.` : `Question ${question.number} of ${question.count}; ${so}`;
  $('prompt').textContent = question.prompt;
  $('shown').hidden = !question.sight && !claim;
  if (question.sight) {
    if (question.svg) picture($('shown'), question.svg); else $('shown').textContent = question.shown;
  } else if (claim) $('shown').textContent = `The place sounds twice at another pitch: as it is, and with a small change that makes just this claim false. ${question.shown}`;
  $('choices').replaceChildren(...question.choices.map((c, i) => el('button', { type: 'button', onclick: guard(() => answer(c)) }, `${i + 1}  ${c}`)));
  $('typed').value = '';
  $('typed-label').textContent = question.choices.length ? 'Or type the answer' : dictation ? 'The notes' : 'Your answer';
  $('pad').hidden = !dictation;
  if (dictation) await pad();
  $('prompt').focus();
  if (!question.sight) await listen('', true);
}

function over(result) {
  $('counter').textContent = '';
  $('prompt').textContent = question.kind === 'claim' ? result : `That was the last one. ${result}`;
  $('shown').hidden = true;
  for (const id of ['choices', 'typing', 'replays', 'give-up']) $(id).hidden = true;
  sessionStorage.removeItem('drill');
  base = '';
  $('prompt').focus();
}

const listen = (what, firstTime) => play(what, firstTime ? '' : '&again=1');

async function play(what, more = '') {
  const player = $('drill-player');
  player.pause();
  const w = answered && what === '' ? 'last' : what;
  const url = await sound(`${base}/sound?what=${w}${more}`);
  if (player.src) URL.revokeObjectURL(player.src);
  player.src = url;
  try { await player.play(); } catch (e) {
    if (e.name === 'NotAllowedError') say(Object.assign(new Error('The browser waits for you before it plays anything.'), { hint: 'press Again, or the space bar' }));
    else if (e.name !== 'AbortError') throw e;
  }
}

async function answer(given, giveUp = false) {
  if (answered || !question || question.over) return;
  if (!giveUp && !given.trim()) return;
  const got = await post(`${base}/answer`, { question: question.id, given, give_up: giveUp });
  $('drill-player').pause();
  answered = got;
  for (const b of $('choices').children) {
    b.disabled = true;
    const label = b.textContent.replace(/^\d+ +/, '');
    if (label === got.expected) b.classList.add('was');
    else if (label === got.given) b.classList.add('said');
  }
  const credit = !got.right && got.credit > 0 ? `Partly right: ${Math.round(100 * got.credit)} %.` : '';
  $('told-answer').className = got.right ? 'right' : 'wrong';
  $('told-answer').replaceChildren(
    el('p', {}, el('strong', {}, got.right ? 'Right.' : credit || 'Not right.'), ' ', got.text && got.text !== 'Right.' ? got.text : got.text ? '' : `${got.expected}.`),
    got.why && got.right ? el('p', {}, got.why) : '',
    got.notes.length ? el('p', { class: 'quiet' }, got.notes.join(' ')) : '');
  if (got.svg && !question.sight) { const box = el('div', { class: 'paper' }); picture(box, got.svg); $('told-answer').append(box); }
  if (got.reason) $('told-answer').append(el('p', { class: 'quiet' }, got.reason));
  $('told-answer').hidden = false;
  $('give-up').hidden = true;
  $('compare').hidden = !got.compare;
  $('next').hidden = false;
  $('typing').hidden = true;
  $('next').textContent = got.over ? 'How it went (Enter)' : 'Next (Enter)';
  $('next').focus();
}

const entered = () => $('typed').value.trim().split(/[\s,]+/).filter(Boolean);
let keyAt = 60; // of the keyboard's keys the one that the tab key reaches

/** pad shows what is entered on a staff, and a keyboard to enter it with. */
async function pad() {
  const names = entered().filter((n) => /^[A-G](#|b|x|##|bb)?-?\d$/.test(n)).slice(0, 64);
  const [staff, board] = await Promise.all([post('/api/notes', { notes: names, row: question.row }), post('/api/keys', { notes: [...new Set(names)], range: true, width: Math.max(760, $('keys').clientWidth - 18) })]);
  picture($('entered'), staff.svg);
  const had = $('keys').contains(document.activeElement);
  const scrolled = $('keys').scrollLeft;
  const svg = picture($('keys'), board.svg);
  const keys = [...svg.querySelectorAll('[id^="k-"]')];
  for (const k of keys) {
    const n = Number(k.id.slice(2));
    k.setAttribute('tabindex', n === keyAt ? '0' : '-1');
    k.setAttribute('role', 'button');
    const press = guard(async () => { keyAt = n; $('typed').value = [...entered(), `${names12[n % 12]}${Math.floor(n / 12) - 1}`].join(' '); await pad(); });
    k.addEventListener('click', press);
    k.addEventListener('keydown', (e) => {
      const by = { ArrowRight: 1, ArrowLeft: -1, ArrowUp: 12, ArrowDown: -12 }[e.key];
      if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); e.stopPropagation(); press(); } else if (e.key === 'Backspace') { e.preventDefault(); $('take-back').click(); } else if (by) {
        e.preventDefault();
        const to = svg.querySelector(`#k-${n + by}`);
        if (to) { k.setAttribute('tabindex', '-1'); to.setAttribute('tabindex', '0'); keyAt = n + by; to.focus(); }
      }
    });
  }
  if (had) svg.querySelector(`#k-${keyAt}`)?.focus();
  $('keys').scrollLeft = had || scrolled ? scrolled : (svg.clientWidth - $('keys').clientWidth) / 2;
}

function keyed(e) {
  if ($('drill').hidden || !base || e.ctrlKey || e.altKey || e.metaKey) return;
  const tag = e.target.tagName;
  if (tag === 'INPUT' && e.target.type !== 'checkbox' || tag === 'TEXTAREA' || tag === 'SELECT') return;
  const on = (f) => { e.preventDefault(); guard(f)(); };
  if (e.key === ' ' && tag !== 'BUTTON' && tag !== 'SUMMARY' && !question?.sight) on(() => listen(''));
  else if (/^[1-9]$/.test(e.key) && question && !answered && question.choices[e.key - 1]) on(() => answer(question.choices[e.key - 1]));
  else if (question?.kind === 'claim' && 'lha'.includes(e.key)) return;
  else if (e.key === 'l' && !question?.sight) on(() => listen('low'));
  else if (e.key === 'h' && !question?.sight) on(() => listen('high'));
  else if (e.key === 'a' && !question?.sight) on(() => listen('slow'));
  else if (e.key === 'g' && !answered) on(() => answer('', true));
  else if (e.key === 'c' && answered?.compare) on(() => play('compare'));
  else if (e.key === 'Enter' && answered && !$('next').hidden && tag !== 'BUTTON' && tag !== 'A' && tag !== 'SUMMARY') on(next);
}
