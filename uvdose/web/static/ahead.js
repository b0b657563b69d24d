// Before a print: how long it takes when it is begun now, and the last moment at which one can be.

import { outlookOf } from "/static/acts.js";
import { clock, roughly, say } from "/static/words.js";

const AGAIN_MS = 180_000, REFUSED_MS = 600_000; // where the daemon knows no place it will not know one in a minute

export class Ahead {
  #of = "";
  #askedAt = 0;
  #wait = 0;
  #told = null;

  constructor(at) {
    this.at = at;
  }

  // plan: what a tap would begin; null where a print is on its way, which has its own time left.
  show(plan, lost) {
    const target = plan?.target ?? null, of = target === null ? "" : JSON.stringify([target.name, target.version, plan.sensor]);
    if (of !== this.#of) [this.#of, this.#told, this.#askedAt] = [of, null, 0];
    if (of && !lost) this.#ask(target.name, plan.sensor);
    const told = lost ? null : this.#told?.targets[0] ?? null;
    this.at("ahead").hidden = told === null;
    if (told === null) return;
    this.at("ahead-name").textContent = say("ahead", { target: target.name });
    this.at("ahead-now").textContent = nowText(told);
    this.at("ahead-last").textContent = lastText(told);
    this.at("ahead-last").hidden = this.at("ahead-last").textContent === this.at("ahead-now").textContent;
  }

  async #ask(name, sensor) {
    if (this.#askedAt && Date.now() - this.#askedAt < this.#wait) return;
    const of = this.#of;
    this.#askedAt = Date.now();
    this.#wait = AGAIN_MS;
    const told = await outlookOf(name, sensor);
    if (of !== this.#of) return;
    this.#told = told;
    if (told === null) this.#wait = REFUSED_MS;
  }
}

function nowText({ now }) {
  if (now === null || now.clear_s === null) return say("ahead_none");
  if (now.typical_s !== null) return say("ahead_now", { time: between(now.low_s, now.typical_s, now.high_s) });
  if (now.low_s !== null) return say("ahead_unsure", { time: roughly(now.low_s) });
  return say("ahead_clear", { time: between(now.clear_low_s, now.clear_s, now.clear_high_s) });
}

function lastText({ last_clear_utc: clear, last_typical_utc: typical }) {
  if (clear === null) return say("ahead_none");
  if (typical === null || clock(typical) === clock(clear)) return say("ahead_last", { time: clock(clear) });
  return say("ahead_last_two", { time: clock(typical), clear: clock(clear) });
}

// A range where its ends differ as they are read; open upwards where a poor sky does not get it done.
function between(low, middle, high) {
  if (high === null) return `${roughly(middle ?? low)}, ${say("ahead_or_not")}`;
  if (roughly(low) === roughly(high)) return roughly(middle);
  return low >= 119.5 && high < 119.5 * 60 ? say("minutes", { count: `${Math.round(low / 60)}–${Math.round(high / 60)}` }) : `${roughly(low)} – ${roughly(high)}`;
}
