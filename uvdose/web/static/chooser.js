// Other targets, frames and whoever is next, as lists of large buttons. No typing.

import { inFrame, ended, title } from "/static/model.js";
import { element } from "/static/sign.js";
import { entryText } from "/static/queue.js";
import { number, say, unit } from "/static/words.js";

export function choiceButton(lines, pressed, act) {
  const button = element("button", "choice");
  button.type = "button";
  lines.filter(Boolean).forEach((line, i) => button.append(element("span", i ? "choice-more" : "choice-name", line)));
  if (pressed !== null) button.setAttribute("aria-pressed", String(pressed));
  button.addEventListener("click", act);
  return button;
}

export function group(name, buttons, className = "") {
  const box = element("section", `group ${className}`, element("h3", "", name), ...buttons);
  box.setAttribute("aria-label", name);
  return box;
}

// done(frame, choice): a frame was chosen, and perhaps what to start in it.
export function openChooser(at, state, names, done) {
  const dialog = at("choose"), list = at("choose-list");
  at("choose-name").textContent = say("choose_name", { frame: state.frame });
  at("choose-close").textContent = say("close");
  at("choose-close").onclick = () => dialog.close();
  const pick = (frame, choice) => () => {
    dialog.close();
    done(frame, choice);
  };
  const { targets, queue } = state.lists;
  const chosen = state.chosen[state.frame] ?? {};
  const parts = [];
  if (queue.length) {
    parts.push(group(say("queue"), queue.map((entry) => choiceButton([entryText(entry)], null,
      pick(entry.frame ?? state.frame, { target: entry.target, label: entry.label ?? "", entry })))));
  }
  parts.push(group(say("targets"), targets.length ? targets.map((target) => choiceButton(
    [title(target.name, target.version), [target.noted.process, target.noted.paper, target.noted.coat].filter(Boolean).join(" · "), `${number(target.dose)} ${unit(target.unit)}`],
    chosen.target === target.name, pick(state.frame, { ...chosen, target: target.name, label: "", entry: null }),
  )) : [element("p", "", say("no_targets"))]));
  const sensors = state.status?.sensors ?? [];
  if (sensors.length > 1) {
    parts.push(group(say("sensors"), sensors.map((sensor) => choiceButton([sensor.name], chosen.sensor === sensor.name,
      pick(state.frame, { ...chosen, sensor: sensor.name }))), "narrow"));
  }
  const free = names.filter((frame) => { const e = inFrame(state.status, frame); return !e || ended(e); });
  let fresh = 1;
  while (names.includes(String(fresh))) fresh += 1;
  parts.push(group(say("frames"), [...free.map((frame) => choiceButton([say("frame", { frame })], frame === state.frame, pick(frame, null))),
    choiceButton([say("new_frame", { frame: fresh })], null, pick(String(fresh), null))], "narrow"));
  list.replaceChildren(...parts);
  dialog.showModal();
  dialog.scrollTop = 0;
}
