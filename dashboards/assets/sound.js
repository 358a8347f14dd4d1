// The four sounds, as [frequency in hertz, start and length in seconds]. Pitch
// and rhythm both tell them apart, for a shop with a loud fan.
const beeps = (n) => Array.from({ length: Math.max(n, 1) }, (_, i) => [880, 0.3 * i, 0.15]);

const patterns = {
  tick: (pot) => beeps(pot),
  ready: () => [[523, 0, 0.25], [784, 0.35, 0.6]],
  act: () => [[784, 0, 0.3], [622, 0.4, 0.3], [494, 0.8, 0.3]],
  danger: () => Array.from({ length: 12 }, (_, i) => [i % 2 ? 700 : 1050, 0.13 * i, 0.12]),
};

// Calls that go on are said again after this many seconds.
const again = { act: 10, danger: 2 };

export class Sound {
  #context = null;
  #on = false;
  #seq = null; // of the last call heard
  #due = 0; // when the last call may be said again

  // toggle is called from a press: browsers give sound only then. It returns
  // whether sound is on, and proves it.
  toggle() {
    this.#on = !this.#on;
    if (this.#on) this.test();
    return this.#on;
  }

  test() {
    this.play("ready");
  }

  // play lets one call be heard, whether sound is on or not: for a press that asks for it.
  play(name) {
    this.#play(patterns[name](1));
  }

  // hear takes the present call. Each is said once; some are repeated until
  // they are silenced or over.
  hear(call) {
    const fresh = this.#seq !== null && call.seq !== this.#seq;
    const due = call.sound in again && performance.now() >= this.#due;
    this.#seq = call.seq;
    if ((fresh || due) && !call.silenced) this.say(call.sound, call.pot);
  }

  // say plays a sound, if sound is on and there is one of that name.
  say(name, pot = 0) {
    if (!this.#on || !(name in patterns)) return;
    this.#due = performance.now() + 1000 * (again[name] ?? 0);
    this.#play(patterns[name](pot));
  }

  #play(notes) {
    this.#context ??= new AudioContext();
    this.#context.resume();
    const start = this.#context.currentTime + 0.05;
    for (const [hertz, from, length] of notes) this.#note(hertz, start + from, length);
  }

  // The ramps keep the speaker from clicking.
  #note(hertz, start, length) {
    const tone = new OscillatorNode(this.#context, { type: "square", frequency: hertz });
    const volume = new GainNode(this.#context, { gain: 0 });
    volume.gain.setValueAtTime(0, start);
    volume.gain.linearRampToValueAtTime(0.5, start + 0.01);
    volume.gain.setValueAtTime(0.5, start + length - 0.02);
    volume.gain.linearRampToValueAtTime(0, start + length);
    tone.connect(volume).connect(this.#context.destination);
    tone.start(start);
    tone.stop(start + length);
  }
}
