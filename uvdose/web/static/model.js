// From the daemon's documents to what a person is told: one state, one word, one number for each frame.

const OVER = 2 ** (1 / 6); // from here on the word is "over", as the first overshoot call has it
const KIND_OF_CALL = {
  look: "look", lead: "soon", ready: "soon", step: "card", reached: "enough", overshoot: "over", reminder: "held",
};
// While one of these is on, nobody knows what light falls: "counting" would say more than is so.
const UNSEEN = ["link", "silent", "gap", "unreadable", "frozen"];
const ENDED = ["finished", "void"];
const byFrame = new Intl.Collator("en", { numeric: true }).compare;

export const ended = (shown) => ENDED.includes(shown.state);
const trial = (shown) => shown.target_version === 0;
export const title = (name, version) => (version ? `${name} v${version}` : name);

export function frameNames(status, lists, more = []) {
  const names = new Set([...more, ...lists.frames.map((f) => f.frame)]);
  for (const shown of status?.exposures ?? []) names.add(shown.frame);
  for (const entry of lists.queue) if (entry.frame) names.add(entry.frame);
  if (names.size === 0) names.add("1");
  return [...names].sort(byFrame);
}

// The print that lies in a frame, else the last one that did today; null for none.
export function inFrame(status, frame) {
  const all = (status?.exposures ?? []).filter((shown) => shown.frame === frame);
  return all.findLast((shown) => !ended(shown)) ?? all.at(-1) ?? null;
}

// The call that nobody has answered: its key, and what kind of call it is.
export function callOf(shown) {
  if (shown === null || ended(shown) || !shown.unanswered?.length) return null;
  const key = shown.unanswered.at(-1);
  return { key, kind: key.split(":")[0], number: Number(key.split(":")[1] ?? 0) };
}

export function kindOf(shown) {
  if (shown === null || ended(shown)) return "ready";
  if (shown.state === "waiting") return "wait";
  const call = callOf(shown);
  if (call?.kind === "ready" && stepsDue(shown) > shown.card_moves) return "card";
  if (call?.kind === "reached" && shown.fraction >= OVER) return "over";
  if (call !== null) return KIND_OF_CALL[call.kind] ?? "look";
  if (shown.state === "held") return "held";
  if (shown.state === "counting" && shown.alarms.some((key) => UNSEEN.includes(key))) return "blind";
  if (shown.state === "reached") return shown.fraction >= OVER ? "over" : "enough";
  return shown.fraction >= 1 ? "enough" : "count";
}

const stepsDue = (shown) => shown.steps.filter((step) => shown.fraction >= step.share).length;

// What a test strip's person does next: the step's words, whether it is to be done now, which card it is.
export function stripStep(shown) {
  if (shown === null || ended(shown) || !shown.steps?.length) return null;
  const due = stepsDue(shown);
  const call = callOf(shown);
  if (call?.kind === "step" || due > shown.card_moves) {
    const at = call?.kind === "step" ? call.number : due;
    return { words: "", ...shown.steps[at - 1], now: true, number: at };
  }
  const next = shown.steps[due];
  return next ? { ...next, now: false, number: due + 1 } : null;
}

// What a tap on "start" would begin in a frame: the choice made here, else the last target in it, else the only one.
export function toStart(frame, chosen, status, lists) {
  const last = (status?.exposures ?? []).findLast((e) => e.frame === frame && !trial(e) && e.state !== "void");
  const used = lists.frames.find((f) => f.frame === frame);
  const known = (name) => lists.targets.find((target) => target.name === name);
  const usual = known(last?.target) ?? known(used?.target) ?? (lists.targets.length === 1 ? lists.targets[0] : null);
  // Whose turn it is names a target: where that is not in use any more, no other one takes its place unasked.
  const target = chosen?.entry?.target ? known(chosen.entry.target) ?? null : known(chosen?.target) ?? usual;
  const sensors = (status?.sensors ?? []).map((sensor) => sensor.name);
  const sensor = [target?.sensor, chosen?.sensor, last?.sensor, used?.sensor].find((s) => sensors.includes(s))
    ?? (sensors.length === 1 ? sensors[0] : null);
  return { target, sensor, label: chosen?.label ?? "", entry: chosen?.entry ?? null };
}

// corrected: aim for the same effect in the light of now; else as the target says.
export function startRequest(frame, plan, countIn, corrected = false) {
  return {
    target: plan.target.name, version: plan.target.version, frame, label: plan.label,
    count_in_s: countIn ? 3 : 0, ...(plan.sensor ? { sensor: plan.sensor } : {}),
    ...(plan.entry ? { queued: plan.entry } : {}), ...(corrected ? { correct: true } : {}),
  };
}

// Alarms of one print's sensor, or of all of them: in the page's words where it has some, else in the daemon's.
export function alarmsOf(status, sensor, words, has) {
  const lines = [];
  for (const known of status?.sensors ?? []) {
    if (sensor !== null && known.name !== sensor) continue;
    known.alarms.forEach((line, i) => {
      const key = `alarm.${known.alarm_keys?.[i]}`;
      lines.push({ sensor: known.name, text: has(key) ? words(key) : line });
    });
  }
  for (const line of status?.troubles ?? []) lines.push({ sensor: "", text: line });
  return lines;
}

// Lines that are the same, once: of hundreds of sensors at a broker that is gone each has the same to say.
const MOST_NAMES = 6;
export function gathered(lines, words) {
  const found = new Map();
  for (const { sensor, text } of lines) found.set(text, [...(found.get(text) ?? []), sensor]);
  return [...found].map(([text, names]) => ({ text, sensor: namesText(names, Math.max(0, names.length - MOST_NAMES), words) }));
}

export const namesText = (names, more, words) =>
  [names.slice(0, MOST_NAMES).filter(Boolean).join(", "), more ? words("queue_more", { count: more }) : ""].filter(Boolean).join(" ");

// How many short beats (and long ones for five) a frame's calls have: its number, else its place in the row.
export function beatsOf(frame, names) {
  const number = /^\d{1,2}$/.test(frame) ? Number(frame) : names.indexOf(frame) + 1;
  const count = Math.min(20, Math.max(1, number));
  return [...Array(Math.floor(count / 5)).fill(2.2), ...Array(count % 5).fill(1)];
}
