// The light of one print: its curve, the stretches out of the light, and where the target was reached.

import { node } from "/static/numerals.js";
import { duration, number, say, unit } from "/static/words.js";

const HEIGHT = 220, LEFT = 8, RIGHT = 8, TOP = 30, BOTTOM = 28;
const BREAK_S = 30; // points further apart are not joined

export function drawChart(place, light) {
  const width = Math.max(240, place.clientWidth);
  const span = Math.max(10, light.until_s, light.points.at(-1)?.[0] ?? 0);
  const most = Math.max(1e-9, ...light.points.map((p) => p[1])) * 1.08;
  const x = (seconds) => LEFT + (seconds / span) * (width - LEFT - RIGHT);
  const y = (value) => HEIGHT - BOTTOM - (Math.max(0, value) / most) * (HEIGHT - TOP - BOTTOM);
  const floor = y(0);

  const hatch = node("pattern", { id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    node("path", { d: "M0 0V9", stroke: "currentColor", "stroke-width": 3 }));
  const parts = [node("defs", {}, hatch)], held = [];
  const text = (content, at, up, anchor) => node("text", { x: at, y: up, "text-anchor": anchor }, content);
  for (const [from, to] of light.holds) {
    parts.push(node("rect", { x: x(from), y: TOP, width: Math.max(2, x(to) - x(from)), height: floor - TOP, fill: "url(#hatch)", class: "out" }));
    if (x(to) - x(from) > 70) held.push(text(say("word.held"), (x(from) + x(to)) / 2, TOP + 18, "middle"));
  }
  for (const run of runs(light.points, span)) {
    const line = run.map(([t, v], i) => `${i ? "L" : "M"}${x(t).toFixed(1)} ${y(v).toFixed(1)}`).join("");
    parts.push(node("path", { d: `${line}L${x(run.at(-1)[0]).toFixed(1)} ${floor}L${x(run[0][0]).toFixed(1)} ${floor}z`, class: "area" }));
    parts.push(node("path", { d: line, class: "curve" }));
  }
  parts.push(node("path", { d: `M${LEFT} ${floor}H${width - RIGHT}`, class: "axis" }));
  if (light.reached_s != null) {
    const at = x(light.reached_s);
    parts.push(node("path", { d: `M${at} ${TOP - 6}V${floor}M${at} ${TOP - 6}h22l-6 6l6 6h-22`, class: "goal" }));
  }
  parts.push(...held, text("0:00", LEFT, HEIGHT - 8, "start"), text(duration(span), width - RIGHT, HEIGHT - 8, "end"));
  parts.push(text(`${number(most / 1.08)} ${unit(light.unit)}`, LEFT, 18, "start"));
  if (light.reached_s != null) {
    parts.push(text(`${say("word.enough")} ${duration(light.reached_s)}`, width - RIGHT, 18, "end"));
  }
  place.replaceChildren(node("svg", {
    viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, role: "img", "aria-label": inWords(light, most / 1.08, span),
  }, ...parts));
}

// Stretches without a hole; a few points that lie wide apart by themselves are no holes.
function runs(points, span) {
  const widest = Math.max(BREAK_S, (3 * span) / 400);
  const found = [];
  for (const point of points) {
    if (!found.length || point[0] - found.at(-1).at(-1)[0] > widest) found.push([]);
    found.at(-1).push(point);
  }
  return found;
}

function inWords(light, most, span) {
  const held = light.holds.reduce((sum, [from, to]) => sum + to - from, 0);
  const reached = light.reached_s == null ? "" : `, ${say("word.enough")} ${duration(light.reached_s)}`;
  const out = held > 0 ? `, ${say("word.held")} ${duration(held)}` : "";
  return `${say("chart", { time: duration(span) })}, ${say("at_most", { value: number(most), unit: unit(light.unit) })}${out}${reached}`;
}
