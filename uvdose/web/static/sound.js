// Calls that are heard and felt: oscillators, vibration, and the browser's own voice. No files.

// A motif for each kind of call; each frame plays it in a rhythm of its own.
const MOTIFS = {
  test: { tones: [659, 880], wave: "triangle", every: 0 },
  beat: { tones: [988], wave: "triangle", every: 0 },
  look: { tones: [587, 880], wave: "triangle", every: 4 },
  ready: { tones: [740], wave: "triangle", every: 3 },
  step: { tones: [740, 988, 740], wave: "square", every: 3 },
  lead: { tones: [880, 880], wave: "triangle", every: 4 },
  reached: { tones: [1047, 1319, 1568], wave: "square", every: 2.5 },
  overshoot: { tones: [1568, 1175, 784], wave: "sawtooth", every: 2.5 },
  reminder: { tones: [440, 415], wave: "triangle", every: 8 },
  blind: { tones: [392, 311], wave: "triangle", every: 5 },
  lost: { tones: [311, 233], wave: "sawtooth", every: 3 },
};
const TONE_S = 0.11, GAP_S = 0.1;

// The tones of a call: [{at, hz, s, wave}] in seconds. beats: the frame's rhythm, 1 short, more is longer.
export function score(kind, beats) {
  const { tones, wave } = MOTIFS[kind] ?? MOTIFS.look;
  const notes = [];
  let at = 0;
  for (const beat of beats) {
    for (const hz of tones) {
      notes.push({ at, hz, s: TONE_S * beat, wave });
      at += TONE_S * beat;
    }
    at += GAP_S;
  }
  return notes;
}

const lengthOf = (notes) => (notes.length ? notes.at(-1).at + notes.at(-1).s : 0);

export class Caller {
  #context = null;
  #free = 0; // when the loudspeaker is free, in ms of Date.now()
  #next = new Map();
  #calls = [];

  constructor(settings) {
    this.settings = settings; // () => {spoken, tag}
    setInterval(() => this.#step(), 200);
  }

  get unlocked() {
    return this.#context?.state === "running";
  }

  // By a tap only: browsers let no page sound before one. Returns whether this was the first.
  unlock() {
    const first = this.#context === null;
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (first && Context) this.#context = new Context();
    if (this.#context && this.#context.state !== "running") this.#context.resume?.().catch(() => {});
    return first;
  }

  // calls: [{id, kind, beats, words}], those that nobody has answered; each is repeated until it is gone.
  set(calls) {
    this.#calls = calls;
    const ids = new Set(calls.map((call) => call.id));
    for (const id of this.#next.keys()) if (!ids.has(id)) this.#next.delete(id);
    this.#step();
  }

  play(kind, beats, words = "") {
    const notes = score(kind, beats);
    const context = this.#context;
    // While the browser has stopped the sound nothing is laid up: it would all come at once when it goes on.
    if (context && (context.state === "running" || kind === "test")) {
      const begin = context.currentTime + 0.03;
      for (const note of notes) tone(context, begin + note.at, note);
    }
    navigator.vibrate?.(beats.flatMap((beat) => [Math.round(180 * beat * (kind === "reached" ? 2 : 1)), 120]));
    if (words && this.settings().spoken) speak(words, this.settings().tag);
    return lengthOf(notes);
  }

  #step() {
    const now = Date.now();
    if (now < this.#free) return; // one frame after the other, so that each rhythm can be heard
    const due = this.#calls.filter((call) => (this.#next.get(call.id) ?? 0) <= now)
      .sort((a, b) => (this.#next.get(a.id) ?? 0) - (this.#next.get(b.id) ?? 0))[0];
    if (due === undefined) return;
    const first = !this.#next.has(due.id);
    const length = this.play(due.kind, due.beats, first ? due.words : "");
    this.#next.set(due.id, now + 1000 * Math.max(length + 0.8, (MOTIFS[due.kind] ?? MOTIFS.look).every));
    this.#free = now + 1000 * (length + 0.35);
  }
}

function tone(context, at, note) {
  const oscillator = context.createOscillator(), gain = context.createGain();
  oscillator.type = note.wave;
  oscillator.frequency.setValueAtTime(note.hz, at);
  // A soft edge of a few milliseconds, since a hard one clicks.
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(note.wave === "triangle" ? 0.9 : 0.5, at + 0.008);
  gain.gain.setValueAtTime(note.wave === "triangle" ? 0.9 : 0.5, at + note.s - 0.012);
  gain.gain.linearRampToValueAtTime(0, at + note.s);
  oscillator.connect(gain).connect(context.destination);
  oscillator.start(at);
  oscillator.stop(at + note.s + 0.02);
}

export function speak(words, tag) {
  if (!("speechSynthesis" in window)) return;
  const said = new SpeechSynthesisUtterance(words);
  said.lang = tag;
  speechSynthesis.cancel();
  speechSynthesis.speak(said);
}
