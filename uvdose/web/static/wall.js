// The wall: all frames large, and who is next. Nothing to press.

import { connect } from "/static/live.js";
import { Announcer } from "/static/announcer.js";
import { alarmsOf, ended, frameNames, inFrame, kindOf, toStart } from "/static/model.js";
import { draw, element, seen } from "/static/sign.js";
import { entryText } from "/static/queue.js";
import { kept } from "/static/keeping.js";
import { setLook } from "/static/settings.js";
import { clock, has, loadWords, say } from "/static/words.js";

const at = (id) => document.getElementById(id);
let status = null, lists = { targets: [], frames: [], queue: [] }, denied = false;

await loadWords();
setLook(kept("look", "bright"));
const announcer = new Announcer(at("said"));
const stream = connect({
  lists: (doc) => { lists = doc; show(); },
  status: (doc) => { status = doc; denied = false; show(); },
  lost: show, back: show, denied: () => { denied = true; show(); },
});

function show() {
  const lost = stream.lost() ? stream.age() : null;
  at("bench").textContent = status?.bench ?? "uvdose";
  at("clock").textContent = denied ? say("denied") : lost !== null ? say("tag_lost") : status ? clock(status.utc) : "";
  const all = frameNames(status, lists);
  // Frames at work first of all; the others only where there is room for them.
  const busy = all.filter((frame) => { const e = inFrame(status, frame); return e && !ended(e); });
  const frames = busy.length ? busy : all.slice(0, 6);
  at("panes").dataset.count = String(frames.length);
  const panes = at("panes");
  while (panes.children.length > frames.length) panes.lastChild.remove();
  frames.forEach((frame, i) => {
    const pane = panes.children[i] ?? panes.appendChild(element("section", "sign"));
    pane.id = `pane-${i}`;
    pane.setAttribute("aria-labelledby", `pane-${i}-name`);
    const shown = inFrame(status, frame), alarms = shown && !ended(shown) ? alarmsOf(status, shown.sensor, say, has) : [];
    const view = seen(frame, shown, toStart(frame, null, status, lists), lost, alarms[0]?.text ?? "");
    if (status !== null || lost !== null) draw(pane, view);
    announcer.state(frame, view.kind, () => `${say("frame", { frame })}, ${say(`word.${view.word}`)}`);
  });
  at("up").hidden = lists.queue.length === 0;
  at("up-name").textContent = say("queue");
  at("up-list").replaceChildren(...lists.queue.slice(0, 6).map((entry) => element("li", "", entryText(entry))));
}

setInterval(() => { if (stream.lost()) show(); }, 1000);
show();
