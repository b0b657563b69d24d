// What a screen reader says: changes of state and calls, each once; never a running figure.

export class Announcer {
  #last = new Map();
  #waiting = [];
  #timer = 0;

  constructor(place) {
    this.place = place;
  }

  // Tells a frame's word where it has changed; the first one is what the page opened with and is read there.
  state(frame, word, text) {
    const before = this.#last.get(frame);
    this.#last.set(frame, word);
    if (before !== undefined && before !== word && text()) this.say(text());
  }

  // Several changes at once are one message.
  say(text) {
    this.#waiting.push(text);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.place.textContent = this.#waiting.join(". ");
      this.#waiting = [];
    }, 150);
  }

  // The language has changed: what is there is not said again.
  forget() {
    this.place.textContent = "";
  }
}
