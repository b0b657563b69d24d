// Who is next: what waits for a frame, and how the list is changed when others change it too.

import { queueNow, send } from "/static/acts.js";
import { say } from "/static/words.js";

const MOST_TRIES = 5;

const same = (one, other) => (one.label ?? "") === (other.label ?? "")
  && (one.target ?? null) === (other.target ?? null) && (one.frame ?? null) === (other.frame ?? null);
const often = (queue, entry) => queue.filter((known) => same(known, entry)).length;
export const waits = (queue, entry) => often(queue, entry) > 0;

// What may be started in a frame, in its order.
export const waitingFor = (frame, queue) => queue.filter((entry) => entry.frame == null || entry.frame === frame);

// A label with the number after the highest one that is there: fern, fern 2, fern 3.
function numberedOn(label, others) {
  if (!label) return "";
  const stem = (text) => text.replace(/\s\d{1,4}$/, ""), numberOf = (text) => Number(/\s(\d{1,4})$/.exec(text)?.[1] ?? 1);
  const numbers = [label, ...others].filter((text) => text && stem(text) === stem(label)).map(numberOf);
  return `${stem(label)} ${Math.max(...numbers) + 1}`;
}

// The last target of a frame once more, for the end of the queue; null where nothing was printed in it yet.
export function onceMore(frame, target, status, queue) {
  if (!target) return null;
  const labels = (list) => list.map((known) => known.label ?? "").filter(Boolean);
  const ours = (known) => known.frame === frame && known.target === target.name;
  const printed = status?.exposures ?? [];
  const last = [...labels(printed.filter(ours)), ...labels(queue.filter(ours))].at(-1) ?? "";
  const label = numberedOn(last, [...labels(printed), ...labels(queue)]);
  return { ...(label ? { label } : {}), target: target.name, frame };
}

// Without an entry, which may stand elsewhere by now; null where it is no longer there as often as it was seen.
export function without(queue, entry, known) {
  if (often(queue, entry) < Math.max(1, often(known, entry))) return null;
  const at = queue.findIndex((one) => same(one, entry));
  return [...queue.slice(0, at), ...queue.slice(at + 1)];
}

// Says the list anew, based on the one that was read; where somebody else was quicker it is read and said once more.
// change(queue) gives the new list, or null for what makes no sense any more. Gives what `send` gives, or {gone}.
export async function changeQueue(lists, change) {
  let { queue, queue_id: id } = lists;
  for (let tries = 1; ; tries += 1) {
    const entries = change(queue);
    if (entries === null) return { gone: true, queue, id };
    const answer = await send("notes", { kind: "queue", subject: "bench", data: { entries }, based_on: id });
    if (answer.taken) return { ...answer, queue: entries, id: answer.taken.id };
    if (answer.status !== 409 || tries === MOST_TRIES) return answer;
    const now = await queueNow();
    if (now === null) return { silent: true };
    if (now.id === id) return answer; // it was refused for another reason
    ({ entries: queue, id } = now);
  }
}

export function entryText(entry, here = null) {
  const frame = entry.frame && entry.frame !== here ? say("frame", { frame: entry.frame }) : "";
  return [entry.label, entry.target, frame].filter(Boolean).join(" · ");
}
