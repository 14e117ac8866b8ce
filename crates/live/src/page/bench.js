// The bench page: captures from the input, sends the samples to the program behind it, and shows what that measured. No
// figure and no verdict is made here.
import { Line, comb, slot, trend } from '/drawing.js';

const byId = (id) => document.getElementById(id);
const PROTOCOL = 'fingerstop.bench.1';
const HEADER_BYTES = 24;
/** Blocks kept for a socket that comes back: half a minute at 48 kHz. */
const KEPT_SAMPLES = 30 * 48000;
/** Without a block for so long the input is silent in a way that no quiet line is. */
const STALLED_MS = 1500;
/** Voice processing that must be off: it would bend the waveform. */
const PROCESSING = ['echoCancellation', 'noiseSuppression', 'autoGainControl', 'voiceIsolation'];
const NAMES = { echoCancellation: 'echo cancellation', noiseSuppression: 'noise suppression', autoGainControl: 'automatic gain control',
  voiceIsolation: 'voice isolation' };

const token = location.hash.slice(1);
const page = {
  socket: null, hello: null, retries: 0, id: null, fresh: null, begun: false, capture: null, wanted: false,
  pending: [], pendingSamples: 0, next: 0, offset: 0, attempts: [], first: null, line: null, guide: null, sound: false, tones: null,
  lastBlock: 0, arrivals: [], report: null, closed: false, asked: 0, waiting: false,
};

// ---- what is said -------------------------------------------------------------------------------------------------------

function state(name, words) {
  document.body.dataset.state = name;
  byId('state').textContent = words;
}

/** Something that must be seen at once. The same code replaces what it said before. */
function tell(code, words, note = false) {
  let box = byId('alerts').querySelector(`[data-code="${code}"]`);
  if (!box) {
    box = document.createElement('div');
    box.className = note ? 'alert note' : 'alert';
    box.dataset.code = code;
    const close = document.createElement('button');
    close.type = 'button';
    close.textContent = 'Understood';
    close.addEventListener('click', () => box.remove());
    box.append(document.createElement('p'), close);
    byId('alerts').append(box);
  }
  box.querySelector('p').textContent = words;
}

function settle(code) {
  byId('alerts').querySelector(`[data-code="${code}"]`)?.remove();
}

// ---- the socket ---------------------------------------------------------------------------------------------------------

function connect() {
  if (!/^[0-9a-f]{32}$/.test(token)) {
    state('refused', 'Not connected');
    tell('token', 'This address lacks its token. Open the whole address that fingerstop serve printed.');
    return;
  }
  const socket = new WebSocket(`ws://${location.host}/live`, [PROTOCOL, token]);
  socket.binaryType = 'arraybuffer';
  page.socket = socket;
  socket.addEventListener('open', () => { page.retries = 0; });
  socket.addEventListener('message', (event) => hear(JSON.parse(event.data)));
  socket.addEventListener('close', () => {
    if (page.socket !== socket || page.closed) return;
    page.socket = null;
    page.begun = false;
    page.retries++;
    state(page.capture ? 'cut' : 'connecting', 'Connection lost, trying again …');
    if (page.capture || page.retries > 1) {
      tell('cut', page.retries > 4
        ? 'The program does not answer. If it was stopped, start it again and open the address it prints. What was captured before is kept.'
        : 'The connection to the program was cut. The capture goes on and is handed over when it is back.');
    }
    setTimeout(connect, Math.min(200 * 2 ** page.retries, 4000));
  });
}

const open = () => page.socket?.readyState === WebSocket.OPEN;

function say(message) {
  if (open()) page.socket.send(JSON.stringify(message));
}

const HEARS = {
  hello: (message) => {
    page.hello = message;
    // A page that was here before wants its own side of things back.
    if (page.id && page.id !== message.page) {
      page.fresh = message.page;
      say({ say: 'resume', page: page.id });
      return;
    }
    known(message.page);
    fill(message);
    settle('cut');
    byId('open').disabled = false;
    byId('start').disabled = false;
    if (!page.capture) state('ready', 'Ready');
  },
  begun: (message) => {
    page.begun = true;
    byId('kept').textContent = `The sound is kept in ${message.file}, as it comes.`;
    state('capturing', 'Capturing');
    settle('ended');
    byId('guide').disabled = false;
    sendPending(0);
  },
  resumed: (message) => {
    if (message.next_block === null) {
      if (page.capture) say(page.capture.begin);
    } else if (page.capture) {
      page.begun = true;
      state('capturing', 'Capturing');
      sendPending(message.next_block);
    } else say({ say: 'end' });
  },
  'unknown-page': () => {
    const before = page.attempts.length > 0 || page.capture;
    known(page.fresh);
    fill(page.hello);
    settle('cut');
    byId('open').disabled = false;
    byId('start').disabled = false;
    if (page.capture) restart('lost', 'The program no longer knows this capture. It kept what it had; the capture begins anew.');
    else {
      state('ready', 'Ready');
      if (before) tell('lost', 'The program no longer knows this sitting. What was captured is kept in its files.');
    }
  },
  refused: (message) => {
    stopCapture();
    tell('refused', message.words);
    state('ready', 'Ready');
  },
  level: showLevel,
  digit: (message) => {
    const known = page.attempts.findIndex((attempt) => attempt.number === message.number);
    if (known >= 0) page.attempts[known] = message; else page.attempts.push(message);
    showAttempt(message, known < 0);
    showSitting();
  },
  attempts: (message) => {
    page.attempts = message.attempts;
    page.first = message.first;
    if (page.attempts.length > 0) showAttempt(page.attempts[page.attempts.length - 1], false);
    else clearAttempt();
    showSitting();
  },
  caution: (message) => tell(message.code, message.words, message.note),
  settled: (message) => settle(message.code),
  guide: showGuide,
  ended: (message) => {
    page.begun = page.begun && page.capture !== null && !message.failed;
    if (message.failed) stopCapture(true);
    if (!page.capture && !page.wanted) state('ready', 'Stopped');
    byId('kept').textContent = message.words;
    byId('guide').disabled = true;
    if (message.failed) tell('ended', message.words);
  },
  report: (message) => showReport(message.ticket, message.title, message.name),
  closing: (message) => {
    page.closed = true;
    stopCapture();
    state('refused', 'The program has ended');
    tell('closing', message.words);
    for (const button of ['start', 'guide', 'open', 'save', 'report', 'first', 'compare']) byId(button).disabled = true;
  },
};

/** The name under which this page is known; a reloaded page finds its sitting by it. */
function known(id) {
  page.id = id;
  try { sessionStorage.setItem('page', id); } catch { /* not found again, then */ }
}

function hear(message) {
  HEARS[message.say]?.(message);
}

// ---- what is measured ---------------------------------------------------------------------------------------------------

function options(select, list, chosen) {
  select.replaceChildren(...list.map(({ name, words }) => {
    const option = document.createElement('option');
    option.value = name;
    option.textContent = words;
    option.selected = name === chosen;
    return option;
  }));
}

function fill(hello) {
  options(byId('limits'), hello.limits, hello.chosen.limits);
  options(byId('plan'), hello.plans, hello.chosen.plan);
  if (document.activeElement !== byId('dial')) byId('dial').value = hello.chosen.dial_id;
  byId('about').textContent = hello.about;
  aboutLimits();
}

function aboutLimits() {
  const chosen = page.hello.limits.find((set) => set.name === byId('limits').value);
  byId('limits-words').textContent = chosen?.about ?? '';
}

function choose() {
  aboutLimits();
  say({ say: 'choose', limits: byId('limits').value, plan: byId('plan').value, dial_id: byId('dial').value.trim() });
}

// ---- the capture --------------------------------------------------------------------------------------------------------

/** Why the browser cannot capture here at all, or nothing. */
function noCapture() {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) {
    return 'The browser gives no input to this page, since the address is not this computer itself. Open the page on the computer that '
      + 'runs fingerstop, under the address it printed. Recordings can be opened here all the same.';
  }
  if (!window.AudioWorkletNode) return 'This browser is too old to hand over samples unchanged. Use a newer one, or fingerstop listen.';
  return null;
}

const REFUSALS = {
  NotAllowedError: 'The browser was not allowed to use the input. Allow the microphone for this page (at the left of the address), then start again.',
  NotFoundError: 'There is no input. Plug the sound card in, then start again.',
  NotReadableError: 'The input is taken by another program, or the system does not give it. Close the other program, then start again.',
  OverconstrainedError: 'The chosen input is gone. Choose another one.',
};

async function startCapture() {
  const impossible = noCapture();
  if (impossible) { tell('input', impossible); return; }
  if (page.capture || !open()) return;
  page.wanted = true;
  const asked = ++page.asked;
  byId('start').disabled = true;
  state('starting', 'Asking for the input …');
  try {
    await beginCapture(asked);
    page.waiting = false;
    settle('input');
    settle('unplugged');
    settle('stalled');
  } catch (error) {
    if (asked === page.asked && page.waiting && (error.name === 'NotFoundError' || error.name === 'OverconstrainedError')) {
      state('waiting', 'Waiting for the input');
    } else if (asked === page.asked) {
      page.wanted = false;
      page.waiting = false;
      state('ready', 'Ready');
      tell('input', error.refusal ?? REFUSALS[error.name] ?? `The input cannot be used: ${error.message}`);
    }
  } finally {
    byId('start').disabled = false;
  }
}

function refusal(words) {
  const error = new Error(words);
  error.refusal = words;
  return error;
}

async function beginCapture(asked) {
  const off = Object.fromEntries(PROCESSING.map((name) => [name, false]));
  const chosen = byId('device').value;
  const audio = { ...off, channelCount: { ideal: 2 }, ...(chosen ? { deviceId: { exact: chosen } } : {}) };
  const stream = await navigator.mediaDevices.getUserMedia({ audio, video: false });
  const track = stream.getAudioTracks()[0];
  let context;
  try {
    const settings = track.getSettings();
    const kept = PROCESSING.filter((name) => settings[name] !== undefined && settings[name] !== false);
    if (kept.length > 0) {
      throw refusal(`The browser keeps ${kept.map((name) => NAMES[name]).join(' and ')} on, and that bends the line's waveform: nothing is measured `
        + 'through it. Choose another input, switch it off in the settings of the system, or use fingerstop listen.');
    }
    context = await contextFor(settings.sampleRate);
    await context.audioWorklet.addModule('/capture.js');
    const source = context.createMediaStreamSource(stream);
    const channels = Math.min(Math.max(settings.channelCount ?? 1, 1), 2);
    const node = new AudioWorkletNode(context, 'capture', { numberOfInputs: 1, numberOfOutputs: 1, channelCount: channels, channelCountMode: 'explicit',
      channelInterpretation: 'discrete', processorOptions: { channels } });
    if (asked !== page.asked || !page.wanted) throw refusal('The capture was stopped before it began.');
    const capture = { stream, track, context, node, channels, rate: context.sampleRate, settings };
    page.capture = capture;
    page.begun = false;
    page.next = 0;
    page.pending = [];
    page.pendingSamples = 0;
    page.arrivals = [];
    page.offset = null;
    page.lastBlock = performance.now();
    page.line = new Line(capture.rate);
    node.port.onmessage = (event) => take(capture, event.data);
    source.connect(node);
    // Some browsers run a node only if its output goes somewhere; what it gives is silence.
    node.connect(context.destination);
    watch(capture);
    capture.begin = { say: 'begin', sample_rate_hz: capture.rate, channels, device: track.label,
      processing: Object.fromEntries(PROCESSING.slice(0, 3).map((name) => [name, settings[name] ?? null])) };
    say(capture.begin);
    byId('start-word').textContent = 'Stop';
    keepAwake(true);
    listDevices(settings.deviceId);
  } catch (error) {
    stream.getTracks().forEach((each) => each.stop());
    context?.close();
    throw error;
  }
}

/** At the rate of the input, so that the browser does not resample; some name none, and some can only take their own. */
async function contextFor(sampleRate) {
  try {
    const context = new AudioContext({ ...(sampleRate ? { sampleRate } : {}), latencyHint: 'interactive' });
    await context.resume();
    return context;
  } catch {
    const context = new AudioContext({ latencyHint: 'interactive' });
    await context.resume();
    return context;
  }
}

/** Says at once what happens to the input. */
function watch(capture) {
  const current = () => page.capture === capture;
  capture.track.addEventListener('ended', () => {
    if (!current()) return;
    say({ say: 'happened', what: 'unplugged' });
    stopCapture(true);
    tell('unplugged', 'The input is gone: unplugged, or taken by another program. What was captured is kept. Plug it in again: the capture goes on by itself.');
    state('waiting', 'Waiting for the input');
    page.wanted = true;
    page.waiting = true;
  });
  capture.track.addEventListener('mute', () => {
    if (!current()) return;
    say({ say: 'happened', what: 'muted' });
    tell('muted', 'The system has muted the input. Nothing reaches the page until it is released.');
  });
  capture.track.addEventListener('unmute', () => {
    if (!current()) return;
    say({ say: 'happened', what: 'unmuted' });
    settle('muted');
  });
  capture.context.addEventListener('statechange', () => {
    if (!current() || capture.context.state === 'running' || capture.context.state === 'closed') return;
    say({ say: 'happened', what: 'suspended' });
    tell('suspended', 'The browser has paused the capture. Touch the page or press a key to go on; what is missing is marked.');
    capture.context.resume().then(() => settle('suspended'), () => {});
  });
}

/** One block from the audio thread. */
function take(capture, { frame, frames, samples }) {
  if (page.capture !== capture) return;
  page.lastBlock = performance.now();
  if (page.offset === null) page.offset = frame;
  const bytes = new ArrayBuffer(HEADER_BYTES + samples.byteLength);
  const header = new DataView(bytes);
  header.setUint32(0, page.next, true);
  header.setUint16(4, capture.channels, true);
  header.setUint16(6, 0, true);
  header.setFloat64(8, frame - page.offset, true);
  header.setFloat64(16, page.lastBlock, true);
  new Float32Array(bytes, HEADER_BYTES).set(samples);
  page.pending.push({ number: page.next, frames, bytes });
  page.pendingSamples += samples.length;
  page.next++;
  // A connection that stays away costs the oldest blocks; the program sees that their numbers are missing.
  while (page.pendingSamples > KEPT_SAMPLES * capture.channels) page.pendingSamples -= page.pending.shift().frames * capture.channels;
  if (open() && page.begun) page.socket.send(bytes);
  page.line.take(samples, capture.channels, frame - page.offset);
  page.arrivals.push([frame - page.offset + frames, page.lastBlock]);
  if (page.arrivals.length > 600) page.arrivals.shift();
}

/** Milliseconds from the last make of a digit, as it reached the page, to now. */
function sinceLastMake(attempt) {
  const make = attempt.breaks_s.at(-1)?.[1] * (page.capture?.rate ?? NaN);
  const arrived = page.arrivals.find(([end]) => end >= make);
  return arrived ? performance.now() - arrived[1] : NaN;
}

/** Hands over again what the program has not had. */
function sendPending(from) {
  acknowledge(from - 1);
  for (const block of page.pending) page.socket.send(block.bytes);
}

function acknowledge(last) {
  const channels = page.capture?.channels ?? 1;
  while (page.pending.length > 0 && page.pending[0].number <= last) page.pendingSamples -= page.pending.shift().frames * channels;
}

function stopCapture(quietly = false) {
  page.asked++;
  page.wanted = false;
  page.waiting = false;
  const capture = page.capture;
  page.capture = null;
  byId('start-word').textContent = 'Start';
  keepAwake(false);
  if (!capture) return;
  capture.node.port.postMessage('end');
  capture.node.disconnect();
  capture.stream.getTracks().forEach((track) => track.stop());
  capture.context.close();
  if (!quietly) state('ready', 'Stopping …');
  say({ say: 'end' });
}

/** Ends a capture and begins another: a new file, since a file has one rate and one input. */
function restart(code, words) {
  stopCapture(true);
  tell(code, words);
  startCapture();
}

async function listDevices(current) {
  const found = await navigator.mediaDevices.enumerateDevices();
  const inputs = found.filter((device) => device.kind === 'audioinput' && device.deviceId);
  const select = byId('device');
  const chosen = select.value;
  options(select, [{ name: '', words: 'as the browser chooses' }, ...inputs.map((device, index) => ({ name: device.deviceId,
    words: (device.label || `input ${index + 1}`) + (device.deviceId === current && !chosen ? ' (in use)' : '') }))], chosen);
}

let awake = null;
async function keepAwake(on) {
  if (!on) { awake?.release(); awake = null; return; }
  try { awake = await navigator.wakeLock?.request('screen'); } catch { awake = null; }
}

/** Watches for what no event tells. */
function watchClock() {
  const capture = page.capture;
  if (!capture) return;
  const silent = performance.now() - page.lastBlock;
  if (silent > STALLED_MS && document.visibilityState === 'visible') {
    tell('stalled', 'No samples have come for a while: the input hangs. What was captured is kept; if nothing comes, stop and start again, or plug the input in anew.');
  } else settle('stalled');
  const rate = capture.track.getSettings().sampleRate;
  if (rate && capture.settings.sampleRate && rate !== capture.settings.sampleRate) {
    restart('rate', `The sample rate has changed from ${capture.settings.sampleRate} to ${rate} Hz. What was captured is kept; the capture goes on in a new file.`);
  }
}

// ---- what was measured --------------------------------------------------------------------------------------------------

function showLevel(message) {
  acknowledge(message.took);
  byId('level-bar').style.transform = `scaleX(${message.part})`;
  byId('level-bar').classList.toggle('over', message.over);
  byId('level-word').textContent = message.words;
  byId('hum').textContent = message.hum;
}

function clearAttempt() {
  byId('verdict').className = 'verdict none';
  byId('digit').textContent = '–';
}

function figure(name, value, change, edge, before, least) {
  byId(name).textContent = value?.text ?? '–';
  byId(`${name}-u95`).textContent = value?.words ?? '';
  byId(`${name}-change`).textContent = change ?? '';
  const canvas = byId(`${name}-slot`);
  canvas.setAttribute('aria-label', value ? `${value.words}${edge ? `, limits ${edge.words}` : ', no limits'}` : 'Nothing measured');
  slot(canvas, { value: value?.value ?? NaN, u95: value?.u95 ?? 0, lower: edge?.lower, upper: edge?.upper, before, least });
}

const SYMBOLS = { pass: '✓', 'conditional-pass': '✓?', 'conditional-fail': '✗?', fail: '✗', 'not-judged': '' };

function showAttempt(attempt, fresh) {
  const box = byId('verdict');
  box.className = `verdict ${attempt.sure ? attempt.verdict : 'unsure'}`;
  if (fresh) { void box.offsetWidth; box.classList.add('fresh'); }
  byId('digit').textContent = (attempt.digit ?? '') + (attempt.sure && attempt.digit !== null ? '' : '?');
  byId('word').textContent = [SYMBOLS[attempt.verdict], attempt.word].filter(Boolean).join(' ');
  byId('reason').textContent = attempt.reason;
  const before = (key) => page.attempts.filter((other) => other.number < attempt.number).map((other) => other[key]?.value ?? NaN);
  figure('speed', attempt.speed, attempt.change?.speed, attempt.limits.speed, before('speed'), 0.5);
  figure('percent', attempt.percent, attempt.change?.percent, attempt.limits.percent, before('percent'), 2);
  comb(byId('comb'), { pulses: attempt.pulses_detail, lower: attempt.limits.break?.lower, upper: attempt.limits.break?.upper });
  byId('comb').setAttribute('aria-label', attempt.pulses_words);
  byId('findings').textContent = attempt.findings.join(' · ');
  if (fresh) {
    page.line?.mark(attempt.breaks_s);
    byId('spoken').textContent = attempt.spoken;
    // For whoever measures how quick the page is: a frame later it is on the screen.
    requestAnimationFrame(() => { box.dataset.sinceLastMakeMs = sinceLastMake(attempt).toFixed(0); });
    if (page.sound) chirp(attempt);
  }
}

function showSitting() {
  const attempts = page.attempts;
  const last = attempts[attempts.length - 1];
  byId('better').textContent = last?.better ?? '';
  const first = page.first ?? attempts.find((attempt) => attempt.sure && attempt.speed)?.number;
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
  if (rows.length > 0) byId('attempts').replaceChildren(...rows);
  for (const id of ['first', 'save', 'report']) byId(id).disabled = attempts.length === 0;
  byId('compare').disabled = attempts.length < 2;
}

function showGuide(message) {
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

// ---- reports and recordings ---------------------------------------------------------------------------------------------

function showReport(ticket, title, name) {
  page.report = { ticket, name };
  byId('shown').hidden = false;
  byId('shown-title').textContent = title;
  byId('frame').src = `/reports/${ticket}`;
  byId('own-tab').href = `/reports/${ticket}`;
  byId('shown').scrollIntoView({ block: 'start' });
  byId('shown-title').focus({ preventScroll: true });
}

async function keepReport() {
  const answer = await fetch(`/reports/${page.report.ticket}`);
  if (!answer.ok) { tell('report', await answer.text()); return; }
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([await answer.arrayBuffer()], { type: 'text/html' }));
  link.download = page.report.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

async function measureRecording(file) {
  tell('recording', `Measuring ${file.name} …`, true);
  try {
    const answer = await fetch('/recordings', { method: 'POST', body: file,
      headers: { Authorization: `Bearer ${token}`, 'X-Recording-Name': encodeURIComponent(file.name.slice(-120)),
        'X-Measure': encodeURIComponent(JSON.stringify({ limits: byId('limits').value, plan: byId('plan').value, dial_id: byId('dial').value.trim() })) } });
    if (!answer.ok) { tell('recording', `${file.name}: ${await answer.text()}`); return; }
    const found = await answer.json();
    if (found.failed) tell('recording', found.words); else settle('recording');
    if (found.ticket) showReport(found.ticket, found.words, found.name);
  } catch {
    tell('recording', `${file.name} could not be handed over: the program does not answer, or the file is too large for this page. Use fingerstop check.`);
  }
}

// ---- hands --------------------------------------------------------------------------------------------------------------

const press = (id) => { const button = byId(id); if (!button.disabled && !button.hidden) button.click(); };
const KEYS = { ' ': () => press('start'), g: () => press('guide'), n: () => press('pass-over'), f: () => press('first'), s: () => press('save'),
  r: () => press('report'), c: () => press('compare'), o: () => press('open'), m: () => press('sound'), '?': () => press('help'),
  l: () => byId('limits').focus(), d: () => { byId('dial').focus(); byId('dial').select(); } };

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  page.capture?.context.resume();
  if (event.key === 'Escape') {
    if (document.activeElement?.matches('input, select')) document.activeElement.blur();
    else if (!byId('shown').hidden) press('close-report');
    else if (!byId('help-panel').hidden) press('help');
    return;
  }
  // A field takes its own keys, and a focused button its own space bar.
  if (document.activeElement?.matches('input, select, textarea')) {
    if (event.key === 'Enter') document.activeElement.blur();
    return;
  }
  if (event.key === ' ' && document.activeElement?.matches('button, summary, a')) return;
  const act = KEYS[event.key.toLowerCase()];
  if (act && !event.repeat) { event.preventDefault(); act(); }
});
document.addEventListener('pointerdown', () => page.capture?.context.resume());
// A button that was clicked gives the keys back: the space bar starts and stops, whatever was clicked last.
document.addEventListener('click', (event) => { if (event.detail > 0) event.target.closest?.('button')?.blur(); });

byId('start').addEventListener('click', () => { if (page.capture || page.wanted) stopCapture(); else startCapture(); });
byId('guide').addEventListener('click', () => say({ say: 'guide', on: !(page.guide?.on) }));
byId('pass-over').addEventListener('click', () => say({ say: 'pass-over' }));
byId('first').addEventListener('click', () => say({ say: 'first-take' }));
byId('save').addEventListener('click', () => say({ say: 'save' }));
byId('report').addEventListener('click', () => say({ say: 'report' }));
byId('compare').addEventListener('click', () => say({ say: 'compare' }));
byId('sound').addEventListener('click', () => {
  page.sound = !page.sound;
  byId('sound').setAttribute('aria-pressed', String(page.sound));
  if (page.sound) { page.tones ??= new AudioContext(); page.tones.resume(); }
});
byId('help').addEventListener('click', () => {
  byId('help-panel').hidden = !byId('help-panel').hidden;
  byId('help').setAttribute('aria-expanded', String(!byId('help-panel').hidden));
});
byId('open').addEventListener('click', () => byId('file').click());
byId('file').addEventListener('change', () => { const file = byId('file').files[0]; byId('file').value = ''; if (file) measureRecording(file); });
byId('keep-report').addEventListener('click', keepReport);
byId('close-report').addEventListener('click', () => { byId('shown').hidden = true; byId('frame').src = 'about:blank'; byId('start').focus(); });
for (const id of ['limits', 'plan', 'dial']) byId(id).addEventListener('change', choose);
byId('device').addEventListener('change', () => { if (page.capture) { stopCapture(true); startCapture(); } });
byId('cautions').addEventListener('toggle', () => { try { localStorage.setItem('cautions-read', byId('cautions').open ? '' : 'yes'); } catch { /* not kept, then */ } });

let over = 0;
addEventListener('dragenter', (event) => { if (event.dataTransfer?.types.includes('Files')) { over++; byId('drop').hidden = false; } });
addEventListener('dragleave', () => { over = Math.max(over - 1, 0); byId('drop').hidden = over === 0; });
addEventListener('dragover', (event) => event.preventDefault());
addEventListener('drop', (event) => {
  event.preventDefault();
  over = 0;
  byId('drop').hidden = true;
  const file = event.dataTransfer?.files[0];
  if (file && !byId('open').disabled) measureRecording(file);
});

document.addEventListener('visibilitychange', () => {
  if (!page.capture) return;
  const hidden = document.visibilityState === 'hidden';
  say({ say: 'happened', what: hidden ? 'hidden' : 'visible' });
  if (hidden) tell('hidden', 'This page was in the background. A browser may put it to sleep there; what is missing is marked.', true);
  else keepAwake(true);
});
addEventListener('freeze', () => say({ say: 'happened', what: 'hidden' }));
// The device comes back: go on as before.
navigator.mediaDevices?.addEventListener?.('devicechange', () => {
  if (page.wanted && !page.capture) startCapture();
  else if (page.capture) listDevices(page.capture.settings.deviceId);
});

function redraw() {
  const last = page.attempts[page.attempts.length - 1];
  if (last) showAttempt(last, false); else { comb(byId('comb'), {}); figure('speed'); figure('percent'); }
  showSitting();
  page.line?.draw(byId('line'));
}
addEventListener('resize', redraw);
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
function frame() {
  if (page.capture) page.line.draw(byId('line'));
  requestAnimationFrame(frame);
}

try { page.id = sessionStorage.getItem('page'); } catch { /* a new page, then */ }
try { if (localStorage.getItem('cautions-read') === 'yes') byId('cautions').open = false; } catch { /* shown, then */ }
setInterval(watchClock, 500);
setInterval(() => say({ say: 'ping' }), 5000);
redraw();
frame();
connect();
