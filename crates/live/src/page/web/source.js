// Where the samples come from: the track of the input itself, where the browser hands it out; else its audio graph.
//
// The graph runs by the clock of the loudspeaker and in its time. Where the input is a moment late for it, or the machine busy, it
// leaves out or puts in whole blocks, and none of its counts shows that. The track has its blocks one after the other.

/** Blocks of the track that wait for a page that is busy or asleep: some ten seconds. */
const WAITING = 1000;
/** An input that was just opened comes and goes for a moment. */
const SETTLED_S = 0.3;
/** From the opening of an input to its first block; an input that gives none at all may still come by the graph. */
const PATIENCE_MS = 3000;
/** Stamps waver by some tens of milliseconds; so much more between two blocks than they hold is a loss. */
const LOST_S = 0.2;

/**
 * Opens what gives the samples of `track`. What comes back has their rate and number of channels, says whether the browser has
 * paused it, and hands blocks to what `start` is given, until `stop`.
 */
export async function openSource(stream, track) {
  return await ofTrack(track) ?? ofGraph(stream, track);
}

/** Blocks of the track, or nothing if the browser does not hand them out. */
async function ofTrack(track) {
  if (!window.MediaStreamTrackProcessor) return null;
  let reader;
  try {
    reader = new MediaStreamTrackProcessor({ track, maxBufferSize: WAITING }).readable.getReader();
  } catch {
    return null; // It takes no sound.
  }
  const late = new Promise((resolve) => { setTimeout(() => resolve(null), PATIENCE_MS); });
  const first = (await Promise.race([reader.read(), late]))?.value;
  if (!first) {
    reader.cancel().catch(() => {});
    return null;
  }
  const [rate, channels] = [first.sampleRate, Math.min(first.numberOfChannels, 2)];
  first.close();
  const pump = async (take, changed) => {
    let frame = 0;
    let expected = null;
    for (;;) {
      const { value: data, done } = await reader.read();
      if (done) return;
      const frames = data.numberOfFrames;
      if (data.sampleRate !== rate || data.numberOfChannels < channels) {
        data.close();
        changed(data.sampleRate);
        return;
      }
      const stamp = 1e-6 * data.timestamp;
      if (expected !== null && stamp - expected > LOST_S) frame += Math.round((stamp - expected) * rate);
      expected = stamp + frames / rate;
      const samples = interleaved(data, channels);
      data.close();
      if (frame >= SETTLED_S * rate) take({ frame, frames, samples });
      frame += frames;
    }
  };
  return {
    rate, channels,
    start: (take, changed) => { pump(take, changed).catch(() => {}); },
    stop: () => { reader.cancel().catch(() => {}); },
    wake: () => {},
    whenPaused: () => {},
  };
}

function interleaved(data, channels) {
  const frames = data.numberOfFrames;
  const samples = new Float32Array(frames * channels);
  const plane = channels === 1 ? samples : new Float32Array(frames);
  for (let channel = 0; channel < channels; channel++) {
    data.copyTo(plane, { planeIndex: channel, format: 'f32-planar' });
    if (channels > 1) for (let frame = 0; frame < frames; frame++) samples[frame * channels + channel] = plane[frame];
  }
  return samples;
}

/** Blocks of the audio graph, at the rate of the input so that the browser does not resample. */
async function ofGraph(stream, track) {
  if (!window.AudioWorkletNode) return null;
  const settings = track.getSettings();
  const context = await contextFor(settings.sampleRate);
  const channels = Math.min(Math.max(settings.channelCount ?? 1, 1), 2);
  let node;
  try {
    await context.audioWorklet.addModule('/capture.js');
    node = new AudioWorkletNode(context, 'capture', { numberOfInputs: 1, numberOfOutputs: 1, channelCount: channels, channelCountMode: 'explicit',
      channelInterpretation: 'discrete', processorOptions: { channels } });
  } catch (error) {
    context.close();
    throw error;
  }
  return {
    rate: context.sampleRate, channels,
    start: (take) => {
      node.port.onmessage = (event) => take(event.data);
      context.createMediaStreamSource(stream).connect(node);
      // Some browsers run a node only if its output goes somewhere; what it gives is silence.
      node.connect(context.destination);
    },
    stop: () => {
      node.port.postMessage('end');
      node.disconnect();
      context.close();
    },
    wake: () => context.resume(),
    whenPaused: (paused, goesOn) => context.addEventListener('statechange', () => {
      if (context.state === 'running' || context.state === 'closed') return;
      paused();
      context.resume().then(goesOn, () => {});
    }),
  };
}

/** Some browsers name no rate, and some can only take their own. */
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
