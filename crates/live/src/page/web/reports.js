// Reports, and recordings that are dropped on the page or opened.
import { byId, page, settle, tell, token } from '/page.js';

export function showReport(ticket, title, name) {
  page.report = { ticket, name };
  byId('shown').hidden = false;
  byId('shown-title').textContent = title;
  byId('frame').src = `/reports/${ticket}`;
  byId('own-tab').href = `/reports/${ticket}`;
  byId('shown').scrollIntoView({ block: 'start' });
  byId('shown-title').focus({ preventScroll: true });
}

export async function keepReport() {
  const answer = await fetch(`/reports/${page.report.ticket}`);
  if (!answer.ok) { tell('report', await answer.text()); return; }
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([await answer.arrayBuffer()], { type: 'text/html' }));
  link.download = page.report.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

export async function measureRecording(file) {
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
