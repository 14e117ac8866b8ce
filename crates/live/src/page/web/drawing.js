// What is drawn: the line, the slots of the big figures, the pulses, and the trend of a sitting.

const FONT = '"DejaVu Sans", system-ui, sans-serif';

/** Colours of the moment, so that a change between light and dark shows at the next drawing. */
function inks() {
  const style = getComputedStyle(document.documentElement);
  const ink = (name) => style.getPropertyValue(`--${name}`).trim();
  return { text: ink('text'), quiet: ink('quiet'), rule: ink('rule'), band: ink('band'), limit: ink('limit'), break: ink('break'),
    fail: ink('fail'), pass: ink('pass'), trace: ink('trace'), open: ink('open'), paper: ink('paper'), panel: ink('panel') };
}

/** A canvas in its own size on the screen, cleared. */
function sheet(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
  const pen = canvas.getContext('2d');
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.lineWidth = 1;
  return { pen, width, height, ink: inks() };
}

function write(pen, words, x, y, { size = 14, weight = 400, colour, align = 'left', base = 'middle' }) {
  pen.font = `${weight} ${size}px ${FONT}`;
  pen.fillStyle = colour;
  pen.textAlign = align;
  pen.textBaseline = base;
  pen.fillText(words, x, y);
}

/** A limit as it is quoted. */
export const quoted = (limit) => String(Number(limit.toFixed(3)));

/** A range that shows the limits with room beside them, and every value. */
function span(values, lower, upper, least) {
  const known = values.filter(Number.isFinite);
  let low = Math.min(...known, lower ?? Infinity, upper ?? Infinity);
  let high = Math.max(...known, lower ?? -Infinity, upper ?? -Infinity);
  if (!Number.isFinite(low)) return null;
  if (lower != null && upper != null) {
    low = Math.min(low, lower - 0.75 * (upper - lower));
    high = Math.max(high, upper + 0.75 * (upper - lower));
  }
  const room = Math.max(0.08 * (high - low), (least - (high - low)) / 2, 0);
  return [low - room, high + room];
}

/**
 * The slot of a figure: the limits are a gap between two jaws, the figure a bar with a head, as wide as its uncertainty where
 * that can be seen; earlier attempts are notches below. The bar either stands between the jaws or it does not; where the count
 * is not sure it has a square head of no colour.
 */
export function slot(canvas, { value, u95 = 0, lower, upper, before = [], least, sure = true }) {
  const { pen, width, height, ink } = sheet(canvas);
  const range = span([value, ...before], lower, upper, least);
  if (!range) return;
  const at = (v) => 10 + (width - 20) * (v - range[0]) / (range[1] - range[0]);
  const top = 6, foot = height - (height > 110 ? 32 : 26), middle = (top + foot) / 2;
  const jaws = lower != null || upper != null;
  if (jaws) {
    const from = lower == null ? 0 : at(lower), to = upper == null ? width : at(upper);
    pen.fillStyle = ink.band;
    pen.fillRect(from, top, to - from, foot - top);
    pen.fillStyle = ink.limit;
    // Jaws: solid on the side that is outside.
    if (lower != null) { pen.fillRect(from - 5, top - 4, 5, foot - top + 8); pen.fillRect(0, middle - 2, from, 4); }
    if (upper != null) { pen.fillRect(to, top - 4, 5, foot - top + 8); pen.fillRect(to, middle - 2, width - to, 4); }
    const size = height > 110 ? 20 : 15;
    if (lower != null) write(pen, quoted(lower), Math.max(from, 20), height - 11, { size, colour: ink.text, align: 'center' });
    if (upper != null) write(pen, quoted(upper), Math.min(to, width - 20), height - 11, { size, colour: ink.text, align: 'center' });
  } else {
    pen.fillStyle = ink.rule;
    pen.fillRect(0, middle - 1, width, 2);
    write(pen, 'no limits chosen for this', width / 2, height - 9, { size: 14, colour: ink.quiet, align: 'center' });
  }
  before.slice(-12).forEach((v, index, all) => {
    if (!Number.isFinite(v)) return;
    const age = (index + 1) / (all.length + 1);
    pen.fillStyle = ink.text;
    pen.globalAlpha = 0.25 + 0.5 * age;
    pen.fillRect(at(v) - 2, foot - 0.16 * (foot - top), 4, 0.16 * (foot - top) + 4);
    pen.globalAlpha = 1;
  });
  if (!Number.isFinite(value)) return;
  const outside = (lower != null && value < lower) || (upper != null && value > upper);
  const r = Math.min(Math.max(0.2 * (foot - top), 10), 16);
  const x = at(value), half = Math.max(at(value + u95) - x, 0);
  pen.fillStyle = !sure ? ink.quiet : jaws ? (outside ? ink.fail : ink.pass) : ink.break;
  const wide = Math.max(half, 3);
  pen.fillRect(x - wide, top, 2 * wide, foot - top);
  pen.beginPath();
  if (!sure) pen.rect(x - r, middle - r, 2 * r, 2 * r);
  else if (jaws && outside) { pen.moveTo(x - r, middle - r); pen.lineTo(x + r, middle - r); pen.lineTo(x, middle + r); pen.closePath(); }
  else pen.arc(x, middle, r, 0, 2 * Math.PI);
  pen.fill();
  pen.lineWidth = 2;
  pen.strokeStyle = ink.panel;
  pen.stroke();
}

/** Every pulse a bar: break filled, make open, one below another, so that an odd one stands out at the edge. */
export function comb(canvas, { pulses = [], lower, upper }) {
  const { pen, width, height, ink } = sheet(canvas);
  if (pulses.length === 0) {
    write(pen, 'break filled, make open, one bar a pulse', width / 2, height / 2, { size: 15, colour: ink.quiet, align: 'center' });
    return;
  }
  const longest = Math.max(...pulses.map((p) => p.break_ms + (p.make_ms ?? 0)), (upper ?? 0) * 1.05);
  const left = 34, right = 66, top = 4, foot = height - 22;
  const at = (ms) => left + (width - left - right) * ms / longest;
  const step = (foot - top) / Math.max(pulses.length, 5);
  if (lower != null || upper != null) {
    pen.fillStyle = ink.band;
    const from = at(lower ?? 0), to = upper == null ? width - right : at(upper);
    pen.fillRect(from, top, to - from, step * pulses.length);
  }
  pulses.forEach((pulse, index) => {
    const y = top + step * index + 1.5, tall = Math.min(step - 3, 22);
    write(pen, String(index + 1), left - 8, y + tall / 2, { size: 14, colour: ink.quiet, align: 'right' });
    pen.fillStyle = ink.break;
    pen.fillRect(left, y, at(pulse.break_ms) - left, tall);
    if (pulse.make_ms != null) {
      pen.strokeStyle = ink.break;
      pen.lineWidth = 1.5;
      pen.strokeRect(at(pulse.break_ms), y + 0.75, at(pulse.break_ms + pulse.make_ms) - at(pulse.break_ms), tall - 1.5);
    }
    const label = `${pulse.break_ms.toFixed(1)}`;
    write(pen, label, width - 4, y + tall / 2, { size: 14, colour: ink.text, align: 'right' });
  });
  const ticks = longest > 120 ? 50 : 20;
  for (let ms = 0; ms <= longest; ms += ticks) {
    write(pen, String(ms), at(ms), height - 9, { size: 13, colour: ink.quiet, align: 'center' });
  }
  write(pen, 'break, ms', width - 4, height - 9, { size: 13, colour: ink.quiet, align: 'right' });
}

const SHAPES = { pass: 'disc', 'conditional-pass': 'ring', 'conditional-fail': 'open-triangle', fail: 'triangle', 'not-judged': 'square' };

function mark(pen, x, y, shape, colour, paper) {
  const r = 6;
  pen.beginPath();
  if (shape === 'disc' || shape === 'ring') pen.arc(x, y, r, 0, 2 * Math.PI);
  else if (shape === 'square') pen.rect(x - r + 1, y - r + 1, 2 * r - 2, 2 * r - 2);
  else { pen.moveTo(x - r, y - r); pen.lineTo(x + r, y - r); pen.lineTo(x, y + r); pen.closePath(); }
  pen.fillStyle = shape === 'ring' || shape === 'open-triangle' ? paper : colour;
  pen.fill();
  pen.lineWidth = 2;
  pen.strokeStyle = colour;
  pen.stroke();
}

/** Attempt by attempt, with the limits as a band: does it get better? */
export function trend(canvas, { title, points, lower, upper, least, first }) {
  const { pen, width, height, ink } = sheet(canvas);
  write(pen, title, 4, 10, { size: 15, weight: 600, colour: ink.text });
  const left = 56, right = 14, top = 26, foot = height - 22;
  const shown = points.slice(-Math.max(Math.floor((width - left - right) / 16), 2));
  const range = span(shown.map((p) => p.value), lower, upper, least);
  if (!range) {
    write(pen, 'attempt by attempt', width / 2, (top + foot) / 2, { size: 15, colour: ink.quiet, align: 'center' });
    return;
  }
  const at = (v) => foot - (foot - top) * (v - range[0]) / (range[1] - range[0]);
  const places = Math.max(shown.length, 8);
  const across = (index) => left + 12 + (width - left - right - 24) * index / (places - 1);
  if (lower != null || upper != null) {
    const high = upper == null ? top : at(upper), low = lower == null ? foot : at(lower);
    pen.fillStyle = ink.band;
    pen.fillRect(left, high, width - left - right, low - high);
    pen.strokeStyle = ink.limit;
    pen.lineWidth = 2;
    for (const limit of [lower, upper]) {
      if (limit == null) continue;
      pen.beginPath();
      pen.moveTo(left, at(limit));
      pen.lineTo(width - right, at(limit));
      pen.stroke();
      write(pen, quoted(limit), left - 6, at(limit), { size: 14, colour: ink.text, align: 'right' });
    }
  } else {
    for (const v of [range[0] + 0.1 * (range[1] - range[0]), range[1] - 0.1 * (range[1] - range[0])]) {
      write(pen, v.toFixed(least < 2 ? 2 : 1), left - 6, at(v), { size: 14, colour: ink.quiet, align: 'right' });
    }
  }
  pen.strokeStyle = ink.quiet;
  pen.lineWidth = 1.5;
  pen.beginPath();
  let drawing = false;
  shown.forEach((point, index) => {
    if (!Number.isFinite(point.value)) return;
    pen[drawing ? 'lineTo' : 'moveTo'](across(index), at(point.value));
    drawing = true;
  });
  pen.stroke();
  shown.forEach((point, index) => {
    const x = across(index);
    if (point.number === first) write(pen, '1st', x, height - 9, { size: 13, weight: 700, colour: ink.break, align: 'center' });
    else if (index === shown.length - 1 || index % Math.ceil(places / 8) === 0) {
      write(pen, String(point.number), x, height - 9, { size: 13, colour: ink.quiet, align: 'center' });
    }
    if (!Number.isFinite(point.value)) return;
    pen.strokeStyle = ink.text;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(x, at(point.value - point.u95));
    pen.lineTo(x, at(point.value + point.u95));
    pen.stroke();
    const colour = point.verdict.endsWith('fail') ? ink.fail : point.verdict.endsWith('pass') ? ink.pass : ink.quiet;
    mark(pen, x, at(point.value), SHAPES[point.verdict] ?? 'square', colour, ink.panel);
  });
}

/** The last seconds of the line as minima and maxima in equal columns. */
export class Line {
  constructor(rate, seconds = 6) {
    this.rate = rate;
    this.seconds = seconds;
    this.frames = Math.max(Math.round(rate / 200), 1);
    this.columns = Math.round(seconds * rate / this.frames);
    this.low = new Float32Array(this.columns);
    this.high = new Float32Array(this.columns);
    this.taken = 0;
    this.began = 0;
    this.breaks = [];
    this.widest = 0;
  }

  /** Takes the first channel of a block whose first frame is `frame` of the file. */
  take(samples, channels, frame) {
    // After a leap the columns start anew: nothing is drawn where nothing came.
    if (this.taken === 0 || frame !== this.began + this.taken) {
      const column = Math.floor((frame - this.began) / this.frames);
      if (this.taken === 0 || frame < this.began || column > 1e7) { this.began = frame; this.taken = 0; }
      else this.leap(frame - this.began);
    }
    for (let i = 0; i < samples.length; i += channels) {
      const place = Math.floor(this.taken / this.frames) % this.columns;
      const sample = samples[i];
      if (this.taken % this.frames === 0) { this.low[place] = sample; this.high[place] = sample; }
      else if (sample < this.low[place]) this.low[place] = sample;
      else if (sample > this.high[place]) this.high[place] = sample;
      this.taken++;
    }
  }

  leap(to) {
    const from = Math.floor(this.taken / this.frames), until = Math.floor(to / this.frames);
    for (let column = Math.max(from, until - this.columns); column <= until; column++) {
      this.low[column % this.columns] = NaN;
      this.high[column % this.columns] = NaN;
    }
    this.taken = to;
  }

  /** Breaks of a digit, as [from, to] in seconds of the file. */
  mark(breaks) {
    this.breaks.push(...breaks);
    const oldest = (this.began + this.taken) / this.rate - 2 * this.seconds;
    this.breaks = this.breaks.filter(([, to]) => to > oldest);
  }

  draw(canvas) {
    const { pen, width, height, ink } = sheet(canvas);
    const foot = height - 20;
    const done = Math.floor(this.taken / this.frames);
    const first = Math.max(done - this.columns, 0);
    let low = Infinity, high = -Infinity;
    for (let column = first; column < done; column++) {
      const place = column % this.columns;
      if (this.low[place] < low) low = this.low[place];
      if (this.high[place] > high) high = this.high[place];
    }
    if (!(high >= low)) { low = -1; high = 1; }
    // Noise alone is not blown up to the height of pulses.
    this.widest = Math.max(this.widest, high - low);
    const room = Math.max(0.1 * (high - low), 0.002, (0.25 * this.widest - (high - low)) / 2);
    const y = (v) => foot - (foot - 4) * (v - low + room) / (high - low + 2 * room);
    const end = (this.began + this.taken) / this.rate;
    const x = (time) => width * (1 - (end - time) / this.seconds);
    pen.fillStyle = ink.open;
    for (const [from, to] of this.breaks) pen.fillRect(x(from), 4, Math.max(x(to) - x(from), 1), foot - 4);
    pen.strokeStyle = ink.rule;
    pen.beginPath();
    for (let second = Math.ceil(end - this.seconds); second <= end; second++) {
      pen.moveTo(x(second), 4);
      pen.lineTo(x(second), foot);
    }
    pen.stroke();
    for (let back = 1; back < this.seconds; back++) {
      write(pen, `${-back} s`, width * (1 - back / this.seconds), height - 8, { size: 13, colour: ink.quiet, align: 'center' });
    }
    pen.fillStyle = ink.trace;
    const across = width / this.columns;
    const offset = (this.taken % this.frames) / this.frames;
    for (let column = first; column < done; column++) {
      const place = column % this.columns;
      if (Number.isNaN(this.low[place])) continue;
      const from = y(this.high[place]), to = y(this.low[place]);
      pen.fillRect(width - (done - column + offset) * across, from, Math.max(across, 1), Math.max(to - from, 1.5));
    }
  }
}
