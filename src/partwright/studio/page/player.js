// Sounding: stems decoded once and started together on the audio clock, so that loops join to the sample and the mark
// on the page follows what is heard, not what was asked for.

export class Player {
  constructor() {
    this.context = null;
    this.sources = [];
    this.from = 0; // seconds in the file where this run began
    this.began = 0; // audio clock when it began
    this.loop = null; // { from, to } seconds
    this.end = 0;
    this.ended = null;
  }

  get playing() {
    return this.sources.length > 0;
  }

  async ready() {
    this.context ??= new AudioContext({ latencyHint: "interactive" });
    if (this.context.state === "suspended") await this.context.resume();
    return this.context;
  }

  async decode(bytes) {
    const context = await this.ready();
    return context.decodeAudioData(bytes);
  }

  /** Starts these buffers together at `from`; with `loop` from its end back to its beginning, without a gap. */
  async play(buffers, { from = 0, loop = null, until = null, ended = null } = {}) {
    this.stop();
    const context = await this.ready();
    const start = context.currentTime + 0.06;
    this.from = from;
    this.began = start;
    this.loop = loop;
    this.ended = ended;
    this.end = until ?? Math.max(...buffers.map((b) => b.duration));
    this.sources = buffers.map((buffer) => {
      const source = context.createBufferSource();
      const level = context.createGain();
      source.buffer = buffer;
      if (loop) Object.assign(source, { loop: true, loopStart: loop.from, loopEnd: Math.min(loop.to, buffer.duration) });
      level.gain.setValueAtTime(0, start);
      level.gain.linearRampToValueAtTime(1, start + 0.008); // no click where it begins in the middle of a tone
      source.connect(level).connect(context.destination);
      if (loop || until === null) source.start(start, from);
      else {
        source.start(start, from, Math.max(0.02, until - from));
        level.gain.setValueAtTime(1, Math.max(start + 0.01, start + until - from - 0.02));
        level.gain.linearRampToValueAtTime(0, start + until - from);
      }
      return source;
    });
    if (!loop && this.sources.length) {
      const mine = this.sources;
      this.sources[0].onended = () => {
        if (this.sources !== mine) return;
        this.sources = [];
        this.ended?.();
      };
    }
  }

  stop() {
    const at = this.position();
    for (const source of this.sources) {
      source.onended = null;
      try { source.stop(); } catch { /* it had ended by itself */ }
      source.disconnect();
    }
    this.sources = [];
    return at;
  }

  /** Where in the file one hears it now, in seconds. */
  position() {
    if (!this.context || !this.sources.length) return this.from;
    const late = this.context.outputLatency || this.context.baseLatency || 0;
    const run = Math.max(0, this.context.currentTime - late - this.began);
    let at = this.from + run;
    if (this.loop && at >= this.loop.to) {
      const length = this.loop.to - this.loop.from;
      at = this.loop.from + ((at - this.loop.from) % length);
    }
    return Math.min(at, this.loop ? this.loop.to : this.end);
  }
}
