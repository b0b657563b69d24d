// All frames as a row of tiles to tap: form, number and word of each.

import { callOf, ended, inFrame, kindOf } from "/static/model.js";
import { form } from "/static/numerals.js";
import { element } from "/static/sign.js";
import { percentText, say } from "/static/words.js";

export function drawTiles(place, frames, state, lost, pick) {
  place.hidden = frames.length < 2;
  place.setAttribute("aria-label", say("frames"));
  const seen = frames.map((frame) => {
    const shown = inFrame(state.status, frame), kind = lost ? "lost" : kindOf(shown);
    const value = !lost && shown && !ended(shown) && shown.state !== "waiting" ? percentText(shown.fraction) : "";
    return { frame, kind, value, here: frame === state.frame, calls: callOf(shown) !== null && !lost };
  });
  const signature = JSON.stringify([seen, document.documentElement.lang]);
  if (place.dataset.drawn === signature) return;
  const old = [...place.children];
  // Tiles that stay are changed in place, so that the one with the keyboard's focus keeps it.
  if (old.map((tile) => tile.dataset.frame).join("\n") !== frames.join("\n")) {
    place.replaceChildren(...frames.map((frame) => {
      const tile = element("button", "tile");
      tile.type = "button";
      tile.dataset.frame = frame;
      tile.addEventListener("click", () => pick(frame));
      return tile;
    }));
  }
  place.dataset.drawn = signature;
  seen.forEach(({ frame, kind, value, here, calls }, i) => {
    const tile = place.children[i];
    tile.classList.toggle("calls", calls);
    tile.setAttribute("aria-current", String(here));
    tile.replaceChildren(
      element("span", "tile-name", frame), form(kind), element("span", "tile-word", say(`word.${kind}`)),
      element("span", "tile-value", value),
    );
  });
}
