// Before a print: what the light of now asks for beside the target's own dose, and one tap that takes it.

import { aimOf } from "/static/acts.js";
import { mean } from "/static/press.js";
import { say, stops } from "/static/words.js";

const AGAIN_MS = 60_000, LEAST = 0.043; // stops: 3 %, below which the daemon says nothing either

export class Aim {
  #of = "";
  #askedAt = 0;
  #told = null;

  constructor(at) {
    this.at = at;
  }

  // plan: what a tap would begin; null where a print is on its way. may: whether this phone may act.
  show(plan, lost, may) {
    const target = plan?.target ?? null, of = target === null ? "" : JSON.stringify([target.name, target.version, plan.sensor]);
    if (of !== this.#of) [this.#of, this.#told, this.#askedAt] = [of, null, 0];
    if (of && !lost) this.#ask(target.name, target.version, plan.sensor);
    const told = lost ? null : this.#told;
    const much = told !== null && told.stops !== null && Math.abs(told.stops) >= LEAST;
    this.at("aim").hidden = !much;
    if (much) {
      this.at("aim-name").textContent = say(told.corrects ? "aim_on" : "aim", { target: target.name });
      this.at("aim-stops").textContent = say("aim_stops", { stops: stops(told.stops), low: stops(told.low_stops), high: stops(told.high_stops) });
      this.at("aim-why").textContent = say(`aim.${told.way}`);
    }
    const offered = much && !told.corrects && may;
    mean(this.at("corrected"), offered ? `start:${of}` : "", offered ? say("aim_take", { stops: stops(told.stops) }) : "");
  }

  async #ask(name, version, sensor) {
    if (this.#askedAt && Date.now() - this.#askedAt < AGAIN_MS) return;
    const of = this.#of;
    this.#askedAt = Date.now();
    const told = await aimOf(name, sensor);
    // It is of the newest version, which this page may not know yet: a tap would begin the one that it shows.
    if (of === this.#of) this.#told = told?.version === version ? told : null;
  }
}
