// Runs in the browser's audio thread: gathers what comes from the input into blocks and hands them on with the count of
// frames that the audio clock gives, so that a loss can be told.
const FRAMES = 512;
// An input that was just opened comes and goes for a moment; the capture begins when it has come without a break for so many
// quanta of 128 frames.
const SETTLED = 16;

class Capture extends AudioWorkletProcessor {
  constructor(options) {
    super();
    this.channels = options.processorOptions.channels;
    this.frames = FRAMES;
    this.filled = 0;
    this.began = 0;
    this.block = new Float32Array(FRAMES * this.channels);
    this.on = true;
    this.quanta = 0;
    this.expected = -1;
    this.port.onmessage = () => { this.on = false; };
  }

  process(inputs) {
    const input = inputs[0];
    // Without an input the browser calls with no channels at all: there is nothing to keep.
    if (input.length === 0) { this.hand(); return this.on; }
    const count = input[0].length;
    if (this.quanta < SETTLED) {
      this.quanta = currentFrame === this.expected ? this.quanta + 1 : 0;
      this.expected = currentFrame + count;
      return this.on;
    }
    // A quantum that the audio thread left out shows as a leap of its clock: the block ends before it.
    if (this.filled > 0 && currentFrame !== this.began + this.filled) this.hand();
    if (this.filled === 0) this.began = currentFrame;
    for (let channel = 0; channel < this.channels; channel++) {
      const from = input[Math.min(channel, input.length - 1)];
      for (let frame = 0; frame < count; frame++) this.block[(this.filled + frame) * this.channels + channel] = from[frame];
    }
    this.filled += count;
    if (this.filled + count > this.frames) this.hand();
    return this.on;
  }

  hand() {
    if (this.filled === 0) return;
    const samples = this.block.slice(0, this.filled * this.channels);
    this.port.postMessage({ frame: this.began, frames: this.filled, samples }, [samples.buffer]);
    this.filled = 0;
  }
}

registerProcessor('capture', Capture);
