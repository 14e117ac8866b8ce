// What was measured, shown: large, with its limits, attempt by attempt.
import { byId, page } from '/page.js';
import { comb, slot, trend } from '/drawing.js';

/** So many of the latest attempts are shown; a long sitting must not make the page slow. The report has all. */
const SHOWN = 40;

export function showLevel(message) {
  byId('level-bar').style.transform = `scaleX(${message.part})`;
  byId('level-bar').classList.toggle('over', message.over);
  byId('level-word').textContent = message.words;
  byId('hum').textContent = message.hum;
}

/** Large, or a quiet dash where there is nothing. */
function large(id, text) {
  byId(id).textContent = text ?? '–';
  byId(id).classList.toggle('empty', text === undefined);
}

export function clearAttempt() {
  byId('verdict').className = 'verdict none';
  large('digit');
  byId('word').textContent = 'Ready';
  byId('reason').textContent = 'Dial a 0.';
  for (const name of ['speed', 'percent']) { figure(name); byId(`${name}-aim`).textContent = ''; }
  comb(byId('comb'), {});
  byId('findings').textContent = '';
}

function figure(name, value, { change, edge, before, least, sure } = {}) {
  large(name, value?.text);
  byId(`${name}-u95`).textContent = value?.words ?? '';
  byId(`${name}-change`).textContent = change ?? '';
  const canvas = byId(`${name}-slot`);
  canvas.setAttribute('aria-label', value ? `${value.words}${edge ? `, limits ${edge.words}` : ', no limits'}` : 'Nothing measured');
  slot(canvas, { value: value?.value ?? NaN, u95: value?.u95 ?? 0, lower: edge?.lower, upper: edge?.upper, before, least, sure });
}

const SYMBOLS = { pass: '✓', 'conditional-pass': '✓?', 'conditional-fail': '✗?', fail: '✗', 'not-judged': '' };

export function showAttempt(attempt, fresh) {
  const box = byId('verdict');
  box.className = `verdict ${attempt.sure ? attempt.verdict : 'unsure'}`;
  if (fresh) { void box.offsetWidth; box.classList.add('fresh'); }
  large('digit', (attempt.digit ?? '') + (attempt.sure && attempt.digit !== null ? '' : '?'));
  byId('word').textContent = [SYMBOLS[attempt.verdict], attempt.word].filter(Boolean).join(' ');
  byId('reason').textContent = attempt.reason;
  const before = (key) => page.attempts.slice(-SHOWN).filter((other) => other.number < attempt.number).map((other) => other[key]?.value ?? NaN);
  const beside = (key, least) => ({ change: attempt.change?.[key], edge: attempt.limits[key], before: before(key), least, sure: attempt.sure });
  figure('speed', attempt.speed, beside('speed', 0.5));
  figure('percent', attempt.percent, beside('percent', 2));
  byId('speed-aim').textContent = attempt.speed_aim ?? '';
  byId('percent-aim').textContent = attempt.percent_aim ?? '';
  comb(byId('comb'), { pulses: attempt.pulses_detail, lower: attempt.limits.break?.lower, upper: attempt.limits.break?.upper });
  byId('comb').setAttribute('aria-label', attempt.pulses_words);
  byId('findings').textContent = attempt.findings.join(' · ');
  if (fresh) {
    page.line?.mark(attempt.breaks_s);
    byId('spoken').textContent = attempt.spoken;
    if (page.sound) chirp(attempt);
  }
}

export function showSitting() {
  const attempts = page.attempts.slice(-SHOWN);
  const earlier = page.attempts.length - attempts.length;
  const last = attempts[attempts.length - 1];
  byId('better').textContent = last?.better ?? '';
  const first = page.first ?? page.attempts.find((attempt) => attempt.sure && attempt.speed)?.number;
  const points = (key) => attempts.map((a) => ({ number: a.number, value: a[key]?.value ?? NaN, u95: a[key]?.u95 ?? 0, verdict: a.verdict }));
  const draw = (id, title, key, least) => {
    const edge = last?.limits[key];
    trend(byId(id), { title, points: points(key), lower: edge?.lower, upper: edge?.upper, least, first });
    if (last) byId(id).setAttribute('aria-label', `${title}, attempt by attempt: ${attempts.map((a) => a[key]?.text ?? 'none').join(', ')}`);
  };
  draw('speed-trend', 'pulsing speed, pps', 'speed', 0.5);
  draw('percent-trend', 'percent break, %', 'percent', 2);
  const rows = attempts.slice().reverse().map((attempt) => {
    const row = document.createElement('tr');
    const cells = [String(attempt.number) + (attempt.number === first ? ' (first)' : ''), attempt.digit ?? '?', attempt.speed?.full ?? '–',
      attempt.percent?.full ?? '–', attempt.word, attempt.against_first ?? ''];
    for (const [index, words] of cells.entries()) {
      const cell = document.createElement('td');
      cell.textContent = words;
      if (index === 5) cell.className = 'wide';
      row.append(cell);
    }
    return row;
  });
  if (earlier > 0) {
    const row = document.createElement('tr');
    const cell = document.createElement('td');
    cell.colSpan = 6;
    cell.className = 'quiet';
    cell.textContent = `${earlier} earlier ${earlier === 1 ? 'attempt' : 'attempts'}: see the report`;
    row.append(cell);
    rows.push(row);
  }
  if (rows.length > 0) byId('attempts').replaceChildren(...rows);
  for (const id of ['first', 'save', 'report']) byId(id).disabled = attempts.length === 0;
  byId('compare').disabled = attempts.length < 2;
}

export function showGuide(message) {
  page.guide = message;
  byId('guided').hidden = !message.on;
  byId('guide').setAttribute('aria-pressed', String(message.on));
  byId('asked').textContent = message.words;
  byId('pass-over').hidden = message.asked === null;
  byId('ten').replaceChildren(...message.digits.map(({ digit, state: how }) => {
    const item = document.createElement('li');
    item.className = how + (digit === message.asked ? ' now' : '');
    item.textContent = digit + ({ right: ' ✓', wrong: ' ✗' }[how] ?? '');
    item.setAttribute('aria-label', `digit ${digit}: ${how.replace('-', ' ')}`);
    return item;
  }));
}

/** Two rising notes for a pass, two falling ones for a fail, one for what was not judged: heard without looking up. */
function chirp(attempt) {
  const notes = attempt.verdict.endsWith('pass') ? [660, 990] : attempt.verdict.endsWith('fail') ? [392, 196] : [440];
  page.tones ??= new AudioContext();
  notes.forEach((hertz, index) => {
    const from = page.tones.currentTime + 0.16 * index;
    const tone = new OscillatorNode(page.tones, { frequency: hertz, type: 'triangle' });
    const loud = new GainNode(page.tones, { gain: 0 });
    loud.gain.setValueAtTime(0, from);
    loud.gain.linearRampToValueAtTime(0.25, from + 0.02);
    loud.gain.linearRampToValueAtTime(0, from + 0.15);
    tone.connect(loud).connect(page.tones.destination);
    tone.start(from);
    tone.stop(from + 0.16);
  });
}

const MARKS = { good: '✓ good', usable: '~ usable', unfit: '✗ unfit', unknown: '? unknown' };

export function showProbe(message) {
  page.probe = message.on;
  byId('probed').hidden = !message.on;
  byId('probe').setAttribute('aria-pressed', String(message.on));
  byId('probe-words').textContent = message.words;
  byId('probe-caution').textContent = message.caution;
  byId('properties').replaceChildren(...message.properties.map(({ name, fit, figure: measured, mend }) => {
    const row = document.createElement('tr');
    row.className = fit;
    for (const words of [name, MARKS[fit], measured, mend]) {
      const cell = document.createElement('td');
      cell.textContent = words;
      row.append(cell);
    }
    return row;
  }));
}

/** Everything anew, in another size or other colours. */
export function redraw() {
  const last = page.attempts[page.attempts.length - 1];
  if (last) showAttempt(last, false); else { comb(byId('comb'), {}); figure('speed'); figure('percent'); }
  showSitting();
  page.line?.draw(byId('line'));
}
