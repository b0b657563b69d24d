// "Next up" below the sign: who waits for the shown frame, one more at the end, and out with a long press.

import { mean, onPress, onTap } from "/static/press.js";
import { entryText, waitingFor } from "/static/queue.js";
import { element } from "/static/sign.js";
import { say } from "/static/words.js";

const MOST_SHOWN = 5;

export class Waiting {
  // does: add(entry), drop(entry), and askAgain() for a press without a length.
  constructor(at, does) {
    this.at = at;
    this.does = does;
    onTap(at("queue-add"), (meaning) => does.add(JSON.parse(meaning).entry));
  }

  // more: what one tap would put at the end, or null. may: whether this phone may act.
  show(frame, queue, more, may) {
    const entries = waitingFor(frame, queue), shown = entries.slice(0, MOST_SHOWN);
    this.at("queue").hidden = entries.length === 0 && !(may && more);
    this.at("queue-name").textContent = say("queue");
    this.#list(shown, frame, may);
    this.at("queue-more").hidden = entries.length <= MOST_SHOWN;
    this.at("queue-more").textContent = say("queue_more", { count: entries.length - MOST_SHOWN });
    this.at("queue-hint").hidden = !may || entries.length === 0;
    this.at("queue-hint").textContent = say("queue_out");
    mean(this.at("queue-add"), may && more ? JSON.stringify({ entry: more }) : "", more ? say("queue_add", { what: entryText(more, frame) }) : "");
  }

  // Rows stay where they are, so that a finger or the keyboard's focus on one is not lost; a row that has come to mean
  // another entry takes nothing for a moment.
  #list(entries, frame, may) {
    const list = this.at("queue-list");
    if (list.dataset.may !== String(may)) list.replaceChildren();
    list.dataset.may = String(may);
    while (list.children.length > entries.length) list.lastChild.remove();
    entries.forEach((entry, i) => {
      const row = list.children[i] ?? list.appendChild(may ? this.#row() : element("li", ""));
      if (may) mean(row.firstChild, JSON.stringify(entry), entryText(entry, frame) || "–", say("press_out"));
      else row.textContent = entryText(entry, frame) || "–";
    });
  }

  #row() {
    const button = element("button", "long");
    button.type = "button";
    onPress(button, (meaning) => this.does.drop(JSON.parse(meaning)), this.does.askAgain);
    return element("li", "", button);
  }
}
