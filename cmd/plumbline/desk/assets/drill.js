// Drills: asked by sound or by sight, answered with keys, the mouse, or a line of text.
import { el, get, guard, picture, post, say, sound } from './api.js';
import { openPassage } from './music.js';

const $ = (id) => document.getElementById(id);
let drill = ''; // id
let question = null;
let answered = null;
const names12 = ['C', 'C#', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B'];

export function setupDrill(start) {
  const kind = $('kind');
  for (const k of start.kinds) kind.append(el('option', { value: k.kind }, k.kind));
  const levels = () => {
    const k = start.kinds.find((x) => x.kind === kind.value);
    $('level').replaceChildren(...k.levels.map((name, i) => el('option', { value: i + 1 }, `${i + 1}  ${name}`)));
  };
  kind.addEventListener('change', levels);
  levels();
  const about = () => {
    const p = openPassage();
    $('from-passage').disabled = !p;
    $('level').disabled = $('from-passage').checked;
    for (const id of ['drill-at', 'drill-at-label']) $(id).hidden = !$('from-passage').checked;
  };
  $('from-passage').addEventListener('change', about);
  addEventListener('hashchange', about);
  about();
  $('drill-form').addEventListener('submit', (e) => { e.preventDefault(); guard(begin)(); });
  for (const b of $('replays').children) b.addEventListener('click', guard(() => listen(b.dataset.what)));
  $('give-up').addEventListener('click', guard(() => answer('', true)));
  $('typed-go').addEventListener('click', guard(() => answer($('typed').value)));
  $('typed').addEventListener('keydown', (e) => { if (e.key === 'Enter' && !answered) { e.preventDefault(); guard(() => answer($('typed').value))(); } });
  $('next').addEventListener('click', guard(next));
  $('compare').addEventListener('click', guard(() => play('compare')));
  $('keys-box').addEventListener('toggle', guard(async () => { if ($('keys-box').open) await keyboard(); }));
  addEventListener('keydown', keyed);
  const before = sessionStorage.getItem('drill');
  if (before) { drill = before; guard(async () => { try { await next(); } catch { sessionStorage.removeItem('drill'); drill = ''; } })(); }
}

async function begin() {
  const p = openPassage();
  const from = $('from-passage').checked && p;
  const got = await post('/api/drill', {
    kind: $('kind').value, level: from ? 0 : Number($('level').value), count: Number($('count').value), sight: $('sight').checked,
    passage: from ? p.id : '', at: from ? $('drill-at').value.trim() : '',
  });
  drill = got.id;
  sessionStorage.setItem('drill', drill);
  await next();
}

async function next() {
  question = await get(`/api/drill/${drill}`);
  answered = null;
  $('question').hidden = false;
  $('told-answer').hidden = true;
  $('next').hidden = true;
  $('compare').hidden = true;
  if (question.over) { over(question.result); return; }
  for (const id of ['choices', 'typing', 'give-up']) $(id).hidden = false;
  $('replays').hidden = question.sight;
  $('counter').textContent = `Question ${question.number} of ${question.count}; ${question.right} of ${question.asked} right so far`;
  $('prompt').textContent = question.prompt;
  $('shown').hidden = !question.sight;
  if (question.sight) {
    if (question.svg) picture($('shown'), question.svg); else $('shown').textContent = question.shown;
  }
  $('choices').replaceChildren(...question.choices.map((c, i) => el('button', { type: 'button', onclick: guard(() => answer(c)) }, `${i + 1}  ${c}`)));
  $('typed').value = '';
  $('prompt').focus();
  if (!question.sight) await listen('', true);
}

function over(result) {
  $('counter').textContent = '';
  $('prompt').textContent = `That was the last one. ${result}`;
  $('shown').hidden = true;
  for (const id of ['choices', 'typing', 'replays', 'give-up']) $(id).hidden = true;
  sessionStorage.removeItem('drill');
  drill = '';
  $('prompt').focus();
}

const listen = (what, firstTime) => play(what, firstTime ? '' : '&again=1');

async function play(what, more = '') {
  const player = $('drill-player');
  player.pause();
  const w = answered && what === '' ? 'last' : what;
  const url = await sound(`/api/drill/${drill}/sound?what=${w}${more}`);
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
  const got = await post(`/api/drill/${drill}/answer`, { question: question.id, given, give_up: giveUp });
  $('drill-player').pause();
  answered = got;
  for (const b of $('choices').children) {
    b.disabled = true;
    const label = b.textContent.replace(/^\d+ +/, '');
    if (label === got.expected) b.classList.add('was');
    else if (label === got.given) b.classList.add('said');
  }
  const credit = !got.right && got.credit > 0 ? `Partly right: ${Math.round(100 * got.credit)} %.` : '';
  $('told-answer').replaceChildren(
    got.text ? '' : el('p', {}, el('strong', {}, got.right ? 'Right' : 'Wrong'), `: ${got.expected}.`),
    credit ? el('p', {}, credit) : '', got.why && got.right ? el('p', {}, got.why) : '',
    got.text ? el('p', {}, got.text) : '', got.notes.length ? el('p', { class: 'quiet' }, got.notes.join(' ')) : '');
  if (got.svg && !question.sight) { const box = el('div', { class: 'paper' }); picture(box, got.svg); $('told-answer').append(box); }
  $('told-answer').hidden = false;
  $('give-up').hidden = true;
  $('compare').hidden = !got.compare;
  $('next').hidden = false;
  $('next').textContent = got.over ? 'How it went (Enter)' : 'Next (Enter)';
  $('next').focus();
}

/** keyboard shows a keyboard to answer on: each key pressed is added to the line. */
async function keyboard() {
  const names = $('typed').value.trim().split(/\s+/).filter((n) => /^[A-G][#b]*-?\d$/.test(n));
  const got = await post('/api/keys', { Left: [], Right: names, Range: true, Width: Math.min(900, $('keys').clientWidth - 18) });
  const svg = picture($('keys'), got.svg);
  for (const k of svg.querySelectorAll('[id^="k-"]')) {
    const n = Number(k.id.slice(2));
    const p = `${names12[n % 12]}${Math.floor(n / 12) - 1}`;
    k.setAttribute('tabindex', '0');
    k.setAttribute('role', 'button');
    const press = guard(async () => {
      const now = $('typed').value.trim().split(/\s+/).filter(Boolean);
      $('typed').value = (now.includes(p) ? now.filter((n) => n !== p) : [...now, p]).join(' ');
      await keyboard();
    });
    k.addEventListener('click', press);
    k.addEventListener('keydown', (e) => { if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); e.stopPropagation(); press(); } });
  }
}

function keyed(e) {
  if ($('drill').hidden || !drill || e.ctrlKey || e.altKey || e.metaKey) return;
  const tag = e.target.tagName;
  if (tag === 'INPUT' || tag === 'TEXTAREA' || tag === 'SELECT') return;
  const on = (f) => { e.preventDefault(); guard(f)(); };
  if (e.key === ' ' && tag !== 'BUTTON' && tag !== 'SUMMARY' && !question?.sight) on(() => listen(''));
  else if (/^[1-9]$/.test(e.key) && question && !answered && question.choices[e.key - 1]) on(() => answer(question.choices[e.key - 1]));
  else if (e.key === 'l' && !question?.sight) on(() => listen('low'));
  else if (e.key === 'h' && !question?.sight) on(() => listen('high'));
  else if (e.key === 'a' && !question?.sight) on(() => listen('slow'));
  else if (e.key === 'g' && !answered) on(() => answer('', true));
  else if (e.key === 'c' && answered?.compare) on(() => play('compare'));
  else if (e.key === 'Enter' && answered && tag !== 'BUTTON' && tag !== 'A' && tag !== 'SUMMARY') on(next);
}
