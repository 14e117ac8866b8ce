// The bench page: captures from the input, sends the samples to the program behind it, and shows what that measured. No
// figure and no verdict is made here.
import { byId, options, page, say, settle, state, tell, token } from '/page.js';
import { acknowledge, keepAwake, listDevices, restart, sendPending, startCapture, stopCapture, watchClock } from '/input.js';
import { clearAttempt, redraw, showAttempt, showGuide, showLevel, showProbe, showSitting } from '/figures.js';
import { keepReport, measureRecording, showReport } from '/reports.js';

const PROTOCOL = 'fingerstop.bench.1';

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
    if (!page.hello && page.retries > 1) {
      tell('cut', 'Nothing answers under this address: the program has ended or was started anew, or the address is not whole. Open the '
        + 'address that it printed last.');
    } else if (page.hello && (page.capture || page.retries > 1)) {
      tell('cut', page.retries > 4
        ? 'The program does not answer. If it was stopped, start it again and open the address it prints. What was captured before is kept.'
        : 'The connection to the program was cut. The capture goes on and is handed over when it is back.');
    }
    setTimeout(connect, Math.min(200 * 2 ** page.retries, 4000));
  });
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
    byId('probe').disabled = false;
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
  level: (message) => { acknowledge(message.took); showLevel(message); },
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
  known: (message) => { byId('known').textContent = message.words; },
  guide: showGuide,
  probe: showProbe,
  ended: (message) => {
    page.begun = page.begun && page.capture !== null && !message.failed;
    if (message.failed) stopCapture(true);
    if (!page.capture && !page.wanted) state('ready', 'Stopped');
    byId('kept').textContent = message.words;
    byId('guide').disabled = true;
    byId('probe').disabled = true;
    if (message.failed) tell('ended', message.words);
  },
  report: (message) => showReport(message.ticket, message.title, message.name),
  closing: (message) => {
    page.closed = true;
    stopCapture();
    state('refused', 'The program has ended');
    tell('closing', message.words);
    for (const button of ['start', 'guide', 'probe', 'open', 'save', 'report', 'first', 'compare']) byId(button).disabled = true;
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

// ---- hands --------------------------------------------------------------------------------------------------------------

const press = (id) => { const button = byId(id); if (!button.disabled && !button.hidden) button.click(); };
const KEYS = { ' ': () => press('start'), g: () => press('guide'), p: () => press('probe'), n: () => press('pass-over'), f: () => press('first'), s: () => press('save'),
  r: () => press('report'), c: () => press('compare'), o: () => press('open'), m: () => press('sound'), '?': () => press('help'),
  l: () => byId('limits').focus(), d: () => { byId('dial').focus(); byId('dial').select(); } };

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  page.capture?.from.wake();
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
document.addEventListener('pointerdown', () => page.capture?.from.wake());
// A button that was clicked gives the keys back: the space bar starts and stops, whatever was clicked last.
document.addEventListener('click', (event) => { if (event.detail > 0) event.target.closest?.('button')?.blur(); });

byId('start').addEventListener('click', () => { if (page.capture || page.wanted) stopCapture(); else startCapture(); });
byId('guide').addEventListener('click', () => say({ say: 'guide', on: !(page.guide?.on) }));
byId('probe').addEventListener('click', () => say({ say: 'probe', on: !page.probe }));
byId('pass-over').addEventListener('click', () => say({ say: 'pass-over' }));
byId('calibrate-clock').addEventListener('submit', (event) => {
  event.preventDefault();
  say({ say: 'calibrate-clock', hz: byId('tone-hz').valueAsNumber, tolerance_ppm: byId('tone-ppm').valueAsNumber });
});
byId('calibrate-level').addEventListener('submit', (event) => {
  event.preventDefault();
  say({ say: 'calibrate-level', current_ma: byId('current-ma').valueAsNumber });
});
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

addEventListener('resize', redraw);
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
/** The line is drawn so often, in milliseconds: an eye sees no more, and a slow machine needs its time for the samples. */
const LINE_MS = 50;
let drawn = 0;
function frame(now) {
  if (page.capture && now - drawn >= LINE_MS) {
    drawn = now;
    page.line.draw(byId('line'));
  }
  requestAnimationFrame(frame);
}

try { page.id = sessionStorage.getItem('page'); } catch { /* a new page, then */ }
try { if (localStorage.getItem('cautions-read') === 'yes') byId('cautions').open = false; } catch { /* shown, then */ }
setInterval(watchClock, 500);
setInterval(() => say({ say: 'ping' }), 5000);
redraw();
requestAnimationFrame(frame);
connect();
