// The sign: one number and one word, to be read at three metres. It is drawn anew only where it has changed.

import { figures, form } from "/static/numerals.js";
import { kindOf, stripStep, title } from "/static/model.js";
import { leftText, notToday, number, percent, percentText, say, stepText, unit } from "/static/words.js";

const REACH = 1.25; // the bar goes on beyond the target, so that too much is seen as such

export function element(name, className, ...inside) {
  const made = document.createElement(name);
  if (className) made.className = className;
  made.append(...inside);
  return made;
}

// What is to be seen of a frame now. lost: seconds since the last word of the daemon, or null. alarm: a line, or "".
export function seen(frame, shown, plan, lost, alarm = "") {
  const kind = kindOf(shown);
  const base = { frame, kind, word: kind, form: kind, digits: null, sign: false, name: say("frame", { frame }) };
  if (lost !== null) {
    const running = shown !== null && kind !== "ready";
    return { ...base, kind: "lost", word: "lost", form: "lost", struck: true, sign: running,
      digits: running ? String(Math.min(999, percent(shown.fraction))) : "-", caption: say("old", { age: Math.round(lost) }),
      name: running ? nameOf(frame, shown) : base.name };
  }
  if (kind === "ready") return { ...base, plan, alarm };
  if (kind === "wait") {
    const seconds = shown.begins_in_s;
    return { ...base, name: nameOf(frame, shown), digits: seconds === null ? "-" : String(Math.ceil(seconds)),
      alarm, caption: say(shown.by_light ? "wait_light" : "wait_beat") };
  }
  const step = stripStep(shown);
  const now = step?.now && kind !== "enough" && kind !== "over";
  return { ...base, name: nameOf(frame, shown), digits: String(Math.min(999, percent(shown.fraction))), sign: true,
    bar: shown.fraction, low: shown.dose_low / shown.target_dose, high: shown.dose_high / shown.target_dose,
    caption: now ? stepText(step) : alarm ? "" : caption(shown, kind), marks: (shown.steps ?? []).map((s) => s.share), loud: now, alarm };
}

function nameOf(frame, shown) {
  return [say("frame", { frame }), shown.label, title(shown.target, shown.target_version)].filter(Boolean).join(" · ");
}

function caption(shown, kind) {
  if (kind === "held") return say(shown.by_light ? "held_light" : "held_caption");
  if (kind === "enough" || kind === "over") return say("take_in");
  const left = leftText(shown);
  if (kind === "look") return say("look_caption");
  if (shown.not_today) return say(notToday(shown));
  return left === null ? say("no_left") : say("left", { time: left });
}

export function draw(place, view) {
  const signature = JSON.stringify([view, document.documentElement.lang]);
  if (place.dataset.drawn === signature) return;
  place.dataset.drawn = signature;
  place.dataset.kind = view.kind;
  const heading = element("h2", "name", view.name);
  heading.id = `${place.id}-name`;
  const parts = [heading];
  if (view.digits !== null) {
    const shown = element("div", "number", figures(view.digits, { sign: view.sign, struck: view.struck }));
    shown.append(element("span", "unseen", spoken(view)));
    parts.push(shown);
  } else {
    parts.push(combination(view.plan));
  }
  parts.push(wordLine(view));
  if (view.bar !== undefined) parts.push(bar(view));
  if (view.caption) parts.push(element("p", view.loud ? "caption loud" : "caption", view.caption));
  if (view.alarm) parts.push(element("p", "alarm", element("strong", "", "! "), view.alarm));
  place.replaceChildren(...parts);
}

function spoken(view) {
  if (view.digits === "-") return "";
  const value = view.sign ? percentText(Number(view.digits) / 100) : `${view.digits} s`;
  return view.struck ? say("was", { value }) : value;
}

function wordLine(view) {
  const text = say(`word.${view.word}`);
  const line = element("p", "word", form(view.form), element("span", "", text));
  line.style.setProperty("--len", [...text].length + 1.4);
  return line;
}

// Before a start: what lies ready, large enough that the wrong paper is seen.
function combination(plan) {
  const box = element("div", "combination");
  if (!plan?.target) {
    box.append(element("p", "target", say("no_target")));
    return box;
  }
  const { name, version, noted, dose } = plan.target;
  const main = element("p", "target", title(name, version));
  main.style.setProperty("--len", Math.min(15, Math.max(5, [...title(name, version)].length)));
  box.append(main);
  for (const key of ["process", "paper"]) box.append(element("p", "noted", noted[key] ?? say(`no_${key}`)));
  const small = [noted.coat, noted.film, `${number(dose)} ${unit(plan.target.unit)}`].filter(Boolean).join(" · ");
  box.append(element("p", "small", small));
  if (plan.label) box.append(element("p", "label", plan.label));
  return box;
}

function bar(view) {
  const place = (fraction) => `${(Math.min(REACH, Math.max(0, fraction)) / REACH) * 100}%`;
  const fill = element("div", "fill"), range = element("div", "range"), mark = element("div", "mark");
  fill.style.setProperty("width", place(view.bar));
  range.style.setProperty("left", place(view.low));
  range.style.setProperty("width", `calc(${place(view.high)} - ${place(view.low)})`);
  mark.style.setProperty("left", place(1));
  const made = element("div", "bar", fill, mark);
  if (view.high - view.low > 0.02 && view.low < REACH - 0.03) made.append(range); // below that it is thinner than the edge of the bar
  for (const share of view.marks) {
    const notch = element("div", "notch");
    notch.style.setProperty("left", place(share));
    made.append(notch);
  }
  made.setAttribute("aria-hidden", "true");
  return made;
}
