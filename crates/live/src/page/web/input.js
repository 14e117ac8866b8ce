// The input: got from the browser with all voice processing off, watched, and handed over block by block.
import { byId, open, options, page, say, settle, state, tell } from '/page.js';
import { Line } from '/drawing.js';
import { openSource } from '/source.js';

const HEADER_BYTES = 24;
/** Blocks kept for a socket that comes back: half a minute at 48 kHz. */
const KEPT_SAMPLES = 30 * 48000;
/** Without a block for so long the input is silent in a way that no quiet line is. */
const STALLED_MS = 1500;
/** Voice processing that must be off: it would bend the waveform. */
const PROCESSING = ['echoCancellation', 'noiseSuppression', 'autoGainControl', 'voiceIsolation'];
const NAMES = { echoCancellation: 'echo cancellation', noiseSuppression: 'noise suppression', autoGainControl: 'automatic gain control',
  voiceIsolation: 'voice isolation' };

/** Why the browser cannot capture here at all, or nothing. */
function noCapture() {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) {
    return 'The browser gives no input to this page, since the address is not this computer itself. Open the page on the computer that '
      + 'runs fingerstop, under the address it printed. Recordings can be opened here all the same.';
  }
  if (!window.AudioWorkletNode && !window.MediaStreamTrackProcessor) return 'This browser is too old to hand over samples unchanged. Use a newer one, or fingerstop listen.';
  return null;
}

const REFUSALS = {
  NotAllowedError: 'The browser was not allowed to use the input. Allow the microphone for this page (at the left of the address), then start again.',
  NotFoundError: 'There is no input. Plug the sound card in, then start again.',
  NotReadableError: 'The input is taken by another program, or the system does not give it. Close the other program, then start again.',
  OverconstrainedError: 'The chosen input is gone. Choose another one.',
};

export async function startCapture() {
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
  let from;
  try {
    const settings = track.getSettings();
    const kept = PROCESSING.filter((name) => settings[name] !== undefined && settings[name] !== false);
    if (kept.length > 0) {
      throw refusal(`The browser keeps ${kept.map((name) => NAMES[name]).join(' and ')} on, and that bends the line's waveform: nothing is measured `
        + 'through it. Choose another input, switch it off in the settings of the system, or use fingerstop listen.');
    }
    from = await openSource(stream, track);
    if (!from) throw refusal('The input gives the page no samples. Choose another one, or use fingerstop listen.');
    if (asked !== page.asked || !page.wanted) throw refusal('The capture was stopped before it began.');
    const { rate, channels } = from;
    const capture = { stream, track, from, channels, rate, settings };
    page.capture = capture;
    page.begun = false;
    page.next = 0;
    page.pending = [];
    page.pendingSamples = 0;
    page.offset = null;
    page.lastBlock = performance.now();
    page.line = new Line(rate);
    from.start((block) => take(capture, block), (now) => { if (page.capture === capture) changedRate(rate, now); });
    watch(capture);
    capture.begin = { say: 'begin', sample_rate_hz: capture.rate, channels, device: track.label,
      processing: Object.fromEntries(PROCESSING.slice(0, 3).map((name) => [name, settings[name] ?? null])) };
    say(capture.begin);
    byId('start-word').textContent = 'Stop';
    keepAwake(true);
    listDevices(settings.deviceId);
  } catch (error) {
    stream.getTracks().forEach((each) => each.stop());
    from?.stop();
    throw error;
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
  capture.from.whenPaused(() => {
    if (!current()) return;
    say({ say: 'happened', what: 'suspended' });
    tell('suspended', 'The browser has paused the capture. Touch the page or press a key to go on; what is missing is marked.');
  }, () => settle('suspended'));
}

/** One block of the input. */
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
}

/** Hands over again what the program has not had. */
export function sendPending(from) {
  acknowledge(from - 1);
  for (const block of page.pending) page.socket.send(block.bytes);
}

export function acknowledge(last) {
  const channels = page.capture?.channels ?? 1;
  while (page.pending.length > 0 && page.pending[0].number <= last) page.pendingSamples -= page.pending.shift().frames * channels;
}

export function stopCapture(quietly = false) {
  page.asked++;
  page.wanted = false;
  page.waiting = false;
  const capture = page.capture;
  page.capture = null;
  byId('start-word').textContent = 'Start';
  keepAwake(false);
  if (!capture) return;
  capture.from.stop();
  capture.stream.getTracks().forEach((track) => track.stop());
  if (!quietly) state('ready', 'Stopping …');
  say({ say: 'end' });
}

/** Ends a capture and begins another: a new file, since a file has one rate and one input. */
export function restart(code, words) {
  stopCapture(true);
  tell(code, words);
  startCapture();
}

export async function listDevices(current) {
  const found = await navigator.mediaDevices.enumerateDevices();
  const inputs = found.filter((device) => device.kind === 'audioinput' && device.deviceId);
  const select = byId('device');
  const chosen = select.value;
  options(select, [{ name: '', words: 'as the browser chooses' }, ...inputs.map((device, index) => ({ name: device.deviceId,
    words: (device.label || `input ${index + 1}`) + (device.deviceId === current && !chosen ? ' (in use)' : '') }))], chosen);
}

let awake = Promise.resolve(null);
/** Keeps the screen on, or lets it go, in the order in which it was asked: each lock is given back. */
export function keepAwake(on) {
  awake = awake.then(async (lock) => {
    await lock?.release();
    return on ? navigator.wakeLock?.request('screen') : null;
  }).catch(() => null);
}

/** Watches for what no event tells. */
export function watchClock() {
  const capture = page.capture;
  if (!capture) return;
  const silent = performance.now() - page.lastBlock;
  if (silent > STALLED_MS && document.visibilityState === 'visible') {
    tell('stalled', 'No samples have come for a while: the input hangs. What was captured is kept; if nothing comes, stop and start again, or plug the input in anew.');
  } else settle('stalled');
  const rate = capture.track.getSettings().sampleRate;
  if (rate && capture.settings.sampleRate && rate !== capture.settings.sampleRate) {
    changedRate(capture.settings.sampleRate, rate);
  }
}

function changedRate(before, now) {
  restart('rate', before === now ? 'The input has changed. What was captured is kept; the capture goes on in a new file.'
    : `The sample rate has changed from ${before} to ${now} Hz. What was captured is kept; the capture goes on in a new file.`);
}
