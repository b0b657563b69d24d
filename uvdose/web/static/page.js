// The page at the frame: joins what comes, what is seen, what is heard and what the person does.

import { connect } from "/static/live.js";
import { send } from "/static/acts.js";
import { alarmsOf, beatsOf, callOf, ended, frameNames, inFrame, kindOf, startRequest, stripStep, toStart } from "/static/model.js";
import { draw, seen } from "/static/sign.js";
import { drawTiles } from "/static/tiles.js";
import { Below } from "/static/below.js";
import { Ahead } from "/static/ahead.js";
import { Aim } from "/static/aim.js";
import { Waiting } from "/static/waiting.js";
import { changeQueue, entryText, onceMore, waitingFor, waits, without } from "/static/queue.js";
import { openChooser } from "/static/chooser.js";
import { openSettings, setLook } from "/static/settings.js";
import { mean, onPress, onTap } from "/static/press.js";
import { Caller } from "/static/sound.js";
import { keepAwake } from "/static/awake.js";
import { Announcer } from "/static/announcer.js";
import { kept, keep } from "/static/keeping.js";
import { has, languageTag, loadWords, percentText, say } from "/static/words.js";

const at = (id) => document.getElementById(id);
const state = {
  status: null, lists: { targets: [], frames: [], queue: [], queue_id: 0 }, role: "act", denied: false,
  frame: kept("frame", null), more: [], chosen: {}, hushed: new Set(), called: [], answer: "", awake: "", beat: "", placed: false,
};
const settings = { spoken: kept("spoken", false), countIn: kept("count-in", false) };

await loadWords();
setLook(kept("look", "bright"));
const caller = new Caller(() => ({ spoken: settings.spoken, tag: languageTag() }));
const announcer = new Announcer(at("said"));
const below = new Below(at);
const ahead = new Ahead(at), aim = new Aim(at);
const waiting = new Waiting(at, { add, drop, askAgain: () => announcer.say(say("press_again")) });
const stream = connect({
  hello: (doc) => { state.role = doc.role; state.denied = false; },
  lists: (doc) => { state.lists = doc; show(); },
  status: (doc) => { state.status = doc; state.denied = false; unhush(); show(); },
  happened: (event) => below.happened(event),
  lost: () => show(),
  back: () => { state.hushed.delete("lost"); show(); },
  denied: () => { state.denied = true; show(); },
});

// The frame that is looked at stays, whatever others begin meanwhile: a finger may be on its way to its button.
const names = () => frameNames(state.status, state.lists, state.placed ? [...state.more, state.frame] : state.more);
// A count-in goes on between two words of the daemon.
function present() {
  const shown = inFrame(state.status, state.frame);
  return shown?.begins_in_s == null ? shown : { ...shown, begins_in_s: Math.max(0, shown.begins_in_s - stream.age()) };
}

// What a tap on "start" begins in a frame: what was chosen on this phone, else whose turn it is, else the last target.
function planFor(frame) {
  if (state.chosen[frame]?.entry && !waits(state.lists.queue, state.chosen[frame].entry)) delete state.chosen[frame];
  const chosen = state.chosen[frame], entry = chosen?.target || chosen?.entry ? null : waitingFor(frame, state.lists.queue)[0];
  const choice = entry ? { ...chosen, target: entry.target, label: entry.label ?? "", entry } : chosen;
  return toStart(frame, choice, state.status, state.lists);
}

function show() {
  if (!state.placed && state.status !== null) {
    const known = names();
    if (!known.includes(state.frame)) state.frame = running(known) ?? known[0];
    state.placed = true;
  }
  const all = names();
  const shown = present(), lost = stream.lost() && (state.status || !state.denied) ? stream.age() : null;
  const plan = planFor(state.frame);
  const sensor = shown && !ended(shown) ? shown.sensor : plan.sensor;
  const alarm = sensor === null ? "" : (alarmsOf(state.status, sensor, say, has)[0]?.text ?? "");
  const view = state.status === null && lost === null ? null : seen(state.frame ?? "1", shown, plan, lost, alarm);
  announcer.state("alarm", alarm, () => alarm);
  at("bench").textContent = state.status?.bench ?? "uvdose";
  if (view) draw(at("sign"), view);
  if (view?.kind === "wait" && view.digits !== state.beat) caller.play("beat", [1]);
  state.beat = view?.kind === "wait" ? view.digits : "";
  document.documentElement.dataset.kind = view?.kind ?? "none";
  aim.show(shown === null || ended(shown) ? plan : null, stream.lost(), mayAct());
  showActs(shown, plan, lost);
  showCalls(all, lost);
  drawTiles(at("tiles"), all, state, stream.lost(), (frame) => { pick(frame); });
  below.show(state, shown, stream.lost());
  ahead.show(shown === null || ended(shown) ? plan : null, stream.lost());
  const usual = toStart(state.frame, null, state.status, state.lists).target;
  waiting.show(state.frame, state.lists.queue, onceMore(state.frame, usual, state.status, state.lists.queue), mayAct());
  showTexts();
}

const running = (all) => all.find((frame) => { const e = inFrame(state.status, frame); return e && !ended(e); });

function pick(frame) {
  state.frame = frame;
  keep("frame", frame);
  show();
}

// The call of a print, while nobody has answered it and it was not silenced here.
function unheard(shown) {
  const call = calling(shown);
  return call && !state.hushed.has(`${shown.id}:${call.key}`) ? call : null;
}

// The call of a print that nobody has answered; one whose sensor is silent calls by itself, on this phone alone.
function calling(shown) {
  return callOf(shown) ?? (kindOf(shown) === "blind" ? { key: "blind", kind: "blind" } : null);
}

// -- what can be done ---------------------------------------------------------------------------------------

const mayAct = () => state.role !== "view" && state.status !== null && !state.denied;

function showActs(shown, plan, lost) {
  const kind = kindOf(shown), call = unheard(shown), may = mayAct();
  const live = may && kind !== "ready", id = live ? shown.id : "";
  const ready = may && kind === "ready";
  const quiet = lost !== null ? (state.hushed.has("lost") ? "" : "quiet:lost") : call ? `quiet:${shown.id}:${call.key}` : "";
  const step = live ? stripStep(shown) : null;
  mean(at("quiet"), quiet, say("quiet"));
  mean(at("done"), step?.now && kind !== "enough" && kind !== "over" ? `card:${id}:${step.number}` : "", say("step_done"), "", say("step_number", { number: step?.number }));
  const frame = names().length > 1 ? say("frame", { frame: state.frame }) : "";
  if (ready) mean(at("main"), plan.target ? `start:${state.frame}:${plan.target.name}:${plan.target.version}${plan.label ? `:${plan.label}` : ""}` : "choose", say(plan.target ? "start" : "choose_target"), "", frame);
  else if (live && kind !== "wait") mean(at("main"), shown.state === "held" ? `resume:${id}` : `hold:${id}`, say(shown.state === "held" ? "resume" : "hold"), "", frame);
  else mean(at("main"), live ? `finish:${id}` : "", say("cancel"), "", frame); // nothing has begun: a tap is enough
  mean(at("finish"), live && kind !== "wait" ? `finish:${id}` : "", say("finish"), say("press_long"));
  mean(at("undo"), may && shown?.last_act && kind !== "wait" ? `undo:${shown.id}:${shown.last_act}` : "", say("undo", { act: say(`act.${shown?.last_act}`) }), say("press_long"));
  mean(at("other"), ready ? "choose" : "", say("other_target"));
  mean(at("count-in"), ready && plan.target ? "count-in" : "", say(settings.countIn ? "count_in_on" : "count_in_off"));
  at("count-in").setAttribute("aria-pressed", String(settings.countIn));
  const next = ready && plan.entry === null ? waitingFor(state.frame, state.lists.queue)[0] : null;
  mean(at("next"), next ? "next" : "", next ? say("next", { who: entryText(next, state.frame) }) : "");
  const elsewhere = names().find((frame) => frame !== state.frame && unheard(inFrame(state.status, frame)));
  mean(at("elsewhere"), elsewhere && lost === null ? `show:${elsewhere}` : "", elsewhere ? say("elsewhere", { frame: elsewhere, word: say(`word.${kindOf(inFrame(state.status, elsewhere))}`) }) : "");
  at("row").hidden = [...at("row").children].every((button) => button.hidden);
}

function showTexts() {
  at("mute").hidden = caller.unlocked;
  at("mute").textContent = say("mute");
  at("tag").hidden = state.role !== "view";
  at("tag").textContent = say("tag_view");
  at("look").textContent = say(document.documentElement.dataset.look === "dim" ? "bright" : "dim");
  at("open-settings").textContent = say("menu");
  at("day").textContent = say("day");
  const text = state.denied ? say("denied") : state.answer;
  at("answer").hidden = text === "";
  at("answer-text").textContent = text;
  at("answer-close").textContent = say("close");
  at("answer-close").hidden = state.denied;
  at("awake").textContent = state.awake ? say(`awake.${state.awake}`) : "";
}

async function act(path, body) {
  const answer = await send(path, body);
  tell(answer);
  return answer.taken !== undefined;
}

function tell({ taken, refused, silent, status, gone }) {
  state.answer = silent ? say("no_answer") : gone ? say("queue_gone") : (refused ?? (taken?.note || seemsText(taken?.seems)));
  if (status === 401) state.answer = say("denied");
  if (state.answer) announcer.say(state.answer);
  show();
}

const seemsText = (seems) => (seems ? say(`seems.${seems.light_in}`, { share: percentText(seems.share) }) : "");

async function reorder(change) {
  const answer = await changeQueue(state.lists, change);
  if (answer.id > state.lists.queue_id) state.lists = { ...state.lists, queue: answer.queue, queue_id: answer.id };
  tell(answer);
}

// Somebody else may have put one more at the end meanwhile: then it is numbered on from theirs.
function add({ target, frame }) {
  reorder((queue) => [...queue, onceMore(frame, { name: target }, state.status, queue)]);
}

function drop(entry) {
  const known = state.lists.queue;
  reorder((queue) => without(queue, entry, known));
}

async function start(corrected) {
  const frame = state.frame, plan = planFor(frame);
  if (!plan.target) choose();
  else if (await act("exposures", startRequest(frame, plan, settings.countIn, corrected))) delete state.chosen[frame];
}

function quiet(meaning) {
  const [, id, ...key] = meaning.split(":");
  state.hushed.add(id === "lost" ? "lost" : `${id}:${key.join(":")}`); // at once here, whatever becomes of the request
  if (id !== "lost" && key[0] !== "blind" && state.role !== "view") act(`exposures/${id}/quiet`);
  show();
}

// A call that is over here may be made again, after a repair say, and must then be heard.
function unhush() {
  for (const id of state.hushed) {
    if (id === "lost") continue;
    const [number, ...key] = id.split(":");
    const shown = state.status.exposures.find((known) => String(known.id) === number);
    const on = key[0] === "blind" ? kindOf(shown ?? null) === "blind" : shown?.unanswered?.includes(key.join(":"));
    if (!on) state.hushed.delete(id);
  }
}

function choose() {
  openChooser(at, state, names(), (frame, choice) => {
    if (choice) state.chosen[frame] = choice;
    if (!names().includes(frame)) state.more.push(frame);
    pick(frame);
  });
}

onTap(at("main"), (meaning) => {
  const [what, id] = meaning.split(":");
  if (what === "start") start(false);
  else if (what === "choose") choose();
  else act(`exposures/${id}/${what}`);
});
onTap(at("quiet"), quiet);
onTap(at("done"), (meaning) => act(`exposures/${meaning.split(":")[1]}/card`));
onTap(at("corrected"), () => start(true));
onTap(at("other"), choose, true);
onTap(at("elsewhere"), (meaning) => pick(meaning.slice("show:".length)));
onTap(at("count-in"), () => {
  settings.countIn = !settings.countIn;
  keep("count-in", settings.countIn);
  show();
}, true);
onTap(at("next"), () => {
  delete state.chosen[state.frame];
  show();
}, true);
for (const id of ["finish", "undo", "again"]) {
  onPress(at(id), (meaning) => {
    const [what, number] = meaning.split(":");
    act(`exposures/${number}/${what}`);
  }, () => announcer.say(say("press_again")));
}
onTap(at("answer-close"), () => { state.answer = ""; show(); }, true);
onTap(at("look"), () => { setLook(document.documentElement.dataset.look === "dim" ? "bright" : "dim"); show(); }, true);
onTap(at("open-settings"), () => openSettings(at, settings, {
  changed: () => { announcer.forget(); show(); }, test: () => caller.play("test", beatsOf(state.frame, names()), say("test")),
}), true);

// -- what is heard ------------------------------------------------------------------------------------------

function showCalls(all, lost) {
  const calls = lost !== null && !state.hushed.has("lost") ? [{ id: "lost", kind: "lost", beats: [1], words: say("word.lost") }] : [];
  for (const frame of all) {
    const shown = inFrame(state.status, frame), call = unheard(shown);
    const word = lost !== null ? "lost" : kindOf(shown);
    announcer.state(frame, word, () => [say("frame", { frame }), say(`word.${word}`), shown && !ended(shown) && lost === null ? percentText(shown.fraction) : ""].filter(Boolean).join(", "));
    if (call && lost === null) {
      calls.push({ id: `${shown.id}:${call.key}`, kind: call.kind, beats: beatsOf(frame, all), words: `${say("frame", { frame })}: ${say(`word.${word}`)}` });
    }
  }
  caller.set(calls);
  const ids = calls.map((call) => call.id);
  if (ids.some((id) => !state.called.includes(id))) for (const id of ["choose", "settings"]) at(id).close(); // they would cover Quiet
  state.called = ids;
}

function unlock() {
  if (caller.unlock()) caller.play("test", beatsOf(state.frame ?? "1", names()));
  setTimeout(show, 120);
}
addEventListener("pointerdown", unlock, { capture: true });
addEventListener("pointerup", unlock, { capture: true }); // some phones take the end of a tap for it, not its beginning
addEventListener("keydown", unlock, { capture: true });

keepAwake((how) => { state.awake = how === "on" ? "" : how; show(); });
setInterval(() => { if (stream.lost() || state.beat) show(); }, 250);
show();
