// What all parts of the page share: its state, and how it speaks to the user and to the program.

export const byId = (id) => document.getElementById(id);

/** The right to talk to the program; it stands in the address and is sent nowhere by the browser itself. */
export const token = location.hash.slice(1);

export const page = {
  socket: null, hello: null, retries: 0, id: null, fresh: null, begun: false, capture: null, wanted: false,
  pending: [], pendingSamples: 0, next: 0, offset: 0, attempts: [], first: null, line: null, guide: null, probe: false, sound: false, tones: null,
  lastBlock: 0, report: null, closed: false, asked: 0, waiting: false,
};

export function state(name, words) {
  document.body.dataset.state = name;
  byId('state').textContent = words;
}

/** Something that must be seen at once. The same code replaces what it said before. */
export function tell(code, words, note = false) {
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

export function settle(code) {
  byId('alerts').querySelector(`[data-code="${code}"]`)?.remove();
}

export const open = () => page.socket?.readyState === WebSocket.OPEN;

export function say(message) {
  if (open()) page.socket.send(JSON.stringify(message));
}

export function options(select, list, chosen) {
  select.replaceChildren(...list.map(({ name, words }) => {
    const option = document.createElement('option');
    option.value = name;
    option.textContent = words;
    option.selected = name === chosen;
    return option;
  }));
}
