// All benches at the broker, on one page: what lies in the light, how far it is, what calls. Nothing to press.

import { Announcer } from "/static/announcer.js";
import { kept } from "/static/keeping.js";
import { callOf, kindOf, namesText, stripStep, title } from "/static/model.js";
import { figures, form } from "/static/numerals.js";
import { setLook } from "/static/settings.js";
import { element } from "/static/sign.js";
import { clock, duration, has, leftText, loadWords, notToday, percent, percentText, say, stepText } from "/static/words.js";

const EVERY_MS = 1000, LOST_MS = 6000, LIMIT_MS = 4000;
const at = (id) => document.getElementById(id);
let doc = null, heard = Date.now(), refused = "";

await loadWords();
setLook(kept("look", "bright"));
const announcer = new Announcer(at("said"));

// To ask is what keeps the daemon listening at the broker: it stops half a minute after the last who asked.
async function ask() {
  try {
    const answer = await fetch("/api/v1/benches", { cache: "no-store", signal: AbortSignal.timeout?.(LIMIT_MS) });
    const told = await answer.json();
    if (answer.ok) [doc, refused, heard] = [told, "", Date.now()];
    else if (answer.status === 401 || answer.status === 403) [doc, refused] = [null, say("denied")];
    else [doc, refused] = [null, told.refused ?? String(answer.status)];
  } catch { /* no connection: it is told once it has lasted */ }
  show();
  setTimeout(ask, EVERY_MS);
}

const span = (seconds) => (seconds < 60 ? say("seconds", { count: Math.floor(seconds) }) : duration(seconds));

// By the bench's own clock, with the day where it is not that of this phone.
function told(utc) {
  const then = new Date(utc), today = then.toDateString() === new Date().toDateString();
  return today ? clock(utc) : `${then.toLocaleDateString(document.documentElement.lang)} ${clock(utc)}`;
}

function ageText(bench, more) {
  if (bench.utc === null) return say("bench_no_figures");
  if (bench.state === "here" && !more) return "";
  const known = bench.age_s !== null, age = span((known ? bench.age_s : bench.at_least_s) + more);
  return say(known ? "bench_old" : "bench_at_least", { age, clock: told(bench.utc) });
}

function caption(shown, kind, fresh) {
  const step = stripStep(shown);
  if (!fresh) return say("bench_last", { word: say(`word.${kind}`) }); // it may well lie in the light still
  if (step?.now && kind !== "enough" && kind !== "over") return stepText(step);
  if (kind === "enough" || kind === "over") return say("take_in");
  if (kind === "look") return say("look_caption");
  if (kind === "held") return say(shown.by_light ? "held_light" : "held_caption");
  if (kind === "wait") return say(shown.by_light ? "wait_light" : "wait_beat");
  if (shown.not_today) return say(notToday(shown));
  const left = leftText(shown);
  return left === null ? say("no_left") : say("left", { time: left });
}

// One print: the number, the word, whose it is, how long it takes. Old figures are struck out, and nothing calls.
function print(shown, fresh) {
  const kind = kindOf(shown), digits = String(Math.min(999, percent(shown.fraction)));
  const row = element("li", "print");
  row.dataset.kind = fresh ? kind : "lost";
  const number = element("div", "number", figures(digits, { sign: true, struck: !fresh }));
  const spoken = percentText(shown.fraction);
  number.append(element("span", "unseen", fresh ? spoken : say("was", { value: spoken })));
  const name = [`${shown.id}`, say("frame", { frame: shown.frame }), shown.label, title(shown.target, shown.target_version)];
  const bar = element("div", "bar", element("div", "fill"), element("div", "mark"));
  bar.firstChild.style.setProperty("width", `${Math.min(100, shown.fraction * 80)}%`);
  bar.setAttribute("aria-hidden", "true");
  row.append(number, element("p", "word", form(fresh ? kind : "lost"), element("span", "", say(`word.${fresh ? kind : "lost"}`))),
    element("p", "name", name.filter(Boolean).join(" · ")), bar);
  row.append(element("p", "left", caption(shown, kind, fresh)));
  return row;
}

function section(bench, lost) {
  const fresh = bench.state === "here" && lost === null;
  const state = lost === null ? bench.state : "unheard";
  const head = element("header", "head", element("h2", "bench-name", bench.name));
  if (!fresh) head.append(element("strong", "state", say(lost === null ? `bench.${state}` : "word.lost")));
  const parts = [head], age = ageText(bench, lost ?? 0);
  if (age) parts.push(element("p", "age", age));
  const prints = bench.exposures.map((shown) => print(shown, fresh));
  if (prints.length) parts.push(element("ol", "prints", ...prints));
  else if (bench.utc !== null) parts.push(element("p", "empty", say(fresh ? "bench_empty" : "bench_was_empty")));
  if (bench.more) parts.push(element("p", "", say("queue_more", { count: bench.more })));
  for (const line of fresh ? bench.troubles : []) parts.push(element("p", "alarm", line));
  for (const { sensors, more, key, line } of fresh ? bench.alarms : []) {
    parts.push(element("p", "alarm", `${namesText(sensors, more, say)}: ${has(`alarm.${key}`) ? say(`alarm.${key}`) : line}`));
  }
  if (bench.unread) parts.push(element("p", "alarm", say("bench_unread", { count: bench.unread })));
  if (bench.finished) parts.push(element("p", "done", say("bench_finished", { count: bench.finished })));
  const made = element("section", "box", ...parts);
  made.dataset.state = fresh ? "here" : state;
  made.dataset.bench = bench.name;
  return made;
}

function show() {
  const lost = Date.now() - heard > LOST_MS && !refused ? (Date.now() - heard) / 1000 : null;
  at("name").textContent = document.title = say("all_benches");
  at("tag").hidden = lost === null;
  at("tag").textContent = say("tag_lost");
  at("clock").textContent = doc === null || lost !== null ? "" : clock(new Date().toISOString());
  at("answer").textContent = refused || doc?.trouble || "";
  at("answer").hidden = !at("answer").textContent;
  const sections = (doc?.benches ?? []).map((bench) => section(bench, lost));
  at("all").dataset.count = String(Math.min(9, sections.length));
  const calls = (doc?.benches ?? []).some((b) => b.state === "here" && b.exposures.some((e) => callOf(e) !== null));
  document.body.dataset.calls = String(calls);
  at("all").replaceChildren(...sections);
  at("hint").textContent = hint(sections.length);
  for (const bench of doc?.benches ?? []) {
    announcer.state(bench.name, bench.state, () => `${bench.name}, ${say(`bench.${bench.state}`)}`);
    for (const shown of bench.state === "here" ? bench.exposures : []) {
      announcer.state(`${bench.name} ${shown.id}`, kindOf(shown), () => `${bench.name}, ${say("frame", { frame: shown.frame })}, ${say(`word.${kindOf(shown)}`)}`);
    }
  }
}

function hint(count) {
  if (doc === null || doc.trouble) return "";
  if (doc.listened_s === null || (!count && doc.listened_s < 3)) return say("benches_listening", { broker: doc.broker });
  if (!count) return say("benches_none", { broker: doc.broker });
  return doc.left_out ? say("benches_left_out", { count: doc.left_out }) : "";
}

ask();
