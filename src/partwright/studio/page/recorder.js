// A take recorded with the microphone: kept in memory until it is stopped, then laid in the lesson's folder.

const KINDS = [["audio/webm;codecs=opus", "webm"], ["audio/ogg;codecs=opus", "ogg"], ["audio/mp4", "m4a"]];

export class Recorder {
  constructor(changed) {
    this.changed = changed;
    this.recorder = null;
    this.pieces = [];
    this.began = 0;
  }

  static possible() {
    return typeof MediaRecorder !== "undefined" && Boolean(navigator.mediaDevices?.getUserMedia);
  }

  get running() {
    return this.recorder !== null;
  }

  seconds() {
    return this.running ? (performance.now() - this.began) / 1000 : 0;
  }

  async start() {
    // What a browser does for speech (echo, noise, level) would change the tone that is to be judged.
    const stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
    const [kind, ending] = KINDS.find(([name]) => MediaRecorder.isTypeSupported(name)) ?? ["", "webm"];
    this.ending = ending;
    this.pieces = [];
    this.recorder = new MediaRecorder(stream, kind ? { mimeType: kind, audioBitsPerSecond: 128000 } : {});
    this.recorder.addEventListener("dataavailable", (event) => { if (event.data.size) this.pieces.push(event.data); });
    this.recorder.start(1000);
    this.began = performance.now();
    this.timer = setInterval(() => {
      const shown = document.getElementById("record-time");
      const whole = Math.floor(this.seconds());
      if (shown) shown.textContent = `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
    }, 500);
    this.changed();
  }

  /** Ends it: { blob, name }. */
  stop() {
    const { recorder } = this;
    return new Promise((resolve) => {
      recorder.addEventListener("stop", () => {
        const now = new Date();
        const two = (x) => String(x).padStart(2, "0");
        const name = `take-${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}.${this.ending}`;
        const blob = new Blob(this.pieces, { type: recorder.mimeType });
        this.end();
        resolve({ blob, name });
      });
      recorder.stop();
    });
  }

  drop() {
    this.recorder?.stop();
    this.end();
  }

  end() {
    clearInterval(this.timer);
    for (const track of this.recorder?.stream.getTracks() ?? []) track.stop();
    this.recorder = null;
    this.pieces = [];
    this.changed();
  }
}
