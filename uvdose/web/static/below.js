// Below the sign: time left, dose and its interval, the curve of the light, alarms.

import { lightOf } from "/static/acts.js";
import { drawChart } from "/static/chart.js";
import { alarmsOf, ended, gathered, stripStep, title } from "/static/model.js";
import { mean } from "/static/press.js";
import { element } from "/static/sign.js";
import { clock, duration, has, leftText, notToday, number, percentText, say, stepText, stops, unit } from "/static/words.js";

const AGAIN_MS = 20_000; // the curve is asked for anew; between, it grows by what the status tells
const END_MS = 3000, MOST_TRIES = 4, MOST_SENSORS = 12;

export class Below {
  #light = null;
  #of = null;
  #askedAt = 0;
  #tries = 0;
  #drawn = {};

  constructor(at) {
    this.at = at;
    addEventListener("resize", () => { if (this.#light) drawChart(at("chart-box"), this.#light); });
  }

  // An act, or a target reached, changes what the curve shows beside the light.
  happened(event) {
    if (event.exposure === this.#of) this.#askedAt = 0;
  }

  show(state, shown, lost) {
    this.#alarms(state, shown);
    this.#facts(state, shown, lost);
    this.#curve(state, shown);
    mean(this.at("again"), shown?.state === "finished" && state.role !== "view" ? `again:${shown.id}` : "", say("again", { id: shown?.id }), say("press_long"));
  }

  #fill(id, parts, key) {
    const signature = JSON.stringify([key, document.documentElement.lang]);
    if (this.#drawn[id] === signature) return;
    this.#drawn[id] = signature;
    this.at(id).replaceChildren(...parts());
  }

  #alarms(state, shown) {
    const sensor = shown && !ended(shown) ? shown.sensor : null;
    const lines = gathered(alarmsOf(state.status, sensor, say, has), say);
    this.at("alarms").hidden = lines.length === 0;
    this.at("alarms").setAttribute("aria-label", say("alarms"));
    this.#fill("alarms", () => lines.map(({ sensor: name, text }) => {
      return element("li", "", element("strong", "", `! ${name ? `${name}: ` : ""}`), text);
    }), lines);
  }

  #facts(state, shown, lost) {
    const rows = [];
    if (shown) {
      const units = unit(shown.unit), left = shown.not_today ? say(notToday(shown)) : leftText(shown), step = stripStep(shown);
      if (step) rows.push([say(step.now ? "step_now" : "step_next"), `${stepText(step)} · ${number(step.share * shown.target_dose)} ${units}`]);
      if (!ended(shown)) rows.push([say("time_left"), lost || left === null ? "–" : left]);
      // What is old is not given as a figure of now.
      if (lost && !ended(shown)) rows.push([say("dose"), "–"]);
      else rows.push([say("dose"), say("of", { dose: number(shown.dose), target: number(shown.target_dose), unit: units })]);
      if (!lost || ended(shown)) rows.push([say("interval"), `${number(shown.dose_low)} – ${number(shown.dose_high)} ${units}`]);
      if (shown.missing_s > 0 && !lost) rows.push([say("missing"), `${duration(shown.missing_s)} · ${number(shown.missing_dose)} ${units}`]);
      if (shown.correction_stops) rows.push([say("aim_row"), say("aim_at", { stops: stops(shown.correction_stops) })]);
      rows.push([say("print"), [shown.id, title(shown.target, shown.target_version), shown.label].filter(Boolean).join(" · ")]);
      if (ended(shown)) rows.push([say("ended"), [say(`state.${shown.settled ? shown.state : "settling"}`), percentText(shown.fraction), shown.finished_utc ? clock(shown.finished_utc) : ""].filter(Boolean).join(" · ")]);
    }
    // The print's own sensor first, and no endless list of hundreds.
    const sensors = [...(state.status?.sensors ?? [])].sort((a, b) => (b.name === shown?.sensor) - (a.name === shown?.sensor));
    for (const sensor of sensors.slice(0, MOST_SENSORS)) {
      const value = sensor.irradiance === null || lost ? "–" : `${number(sensor.irradiance)} ${unit(sensor.unit)}`;
      rows.push([say("sensor", { name: sensor.name }), value]);
    }
    if (sensors.length > MOST_SENSORS) rows.push([say("sensors"), say("queue_more", { count: sensors.length - MOST_SENSORS })]);
    this.#fill("facts", () => rows.map(([name, value]) => element("div", "", element("dt", "", name), element("dd", "", value))), rows);
  }

  async #curve(state, shown) {
    const id = shown && shown.state !== "waiting" ? shown.id : null;
    if (id !== this.#of) {
      this.#of = id;
      this.#light = null;
      this.#askedAt = 0;
      this.at("chart").hidden = true;
    }
    if (id === null) return;
    this.#grow(state, shown);
    // The last readings of a print that has ended are written down a moment after it.
    const last = this.#light?.points.at(-1)?.[0] ?? 0, whole = this.#light && this.#light.until_s - last < 3;
    const wait = !ended(shown) ? AGAIN_MS : whole || this.#tries > MOST_TRIES ? Infinity : END_MS;
    if (Date.now() - this.#askedAt < wait && this.#askedAt) return;
    this.#askedAt = Date.now();
    this.#tries = ended(shown) ? this.#tries + 1 : 0;
    const light = await lightOf(id);
    if (light === null || id !== this.#of) return;
    this.#light = light;
    this.#redraw();
  }

  // One point for each status, at its own time.
  #grow(state, shown) {
    const light = this.#light, sensor = state.status.sensors.find((s) => s.name === shown.sensor);
    if (!light?.t0_utc || ended(shown) || sensor?.irradiance == null || !(sensor.age_s < 5)) return;
    const seconds = (Date.parse(state.status.utc) - Date.parse(light.t0_utc)) / 1000 - sensor.age_s;
    if (seconds <= (light.points.at(-1)?.[0] ?? 0)) return;
    light.points.push([seconds, sensor.irradiance]);
    light.until_s = Math.max(light.until_s, seconds);
    const open = light.holds.at(-1);
    if (shown.state === "held" && open) open[1] = Math.max(open[1], seconds);
    this.#redraw();
  }

  #redraw() {
    this.at("chart").hidden = this.#light.points.length === 0;
    this.at("chart-name").textContent = say("light_name", { id: this.#of });
    drawChart(this.at("chart-box"), this.#light);
  }
}
