// Language, look, spoken calls and the sound test; this phone's own, and remembered by it.

import { choiceButton, group } from "/static/chooser.js";
import { element } from "/static/sign.js";
import { keep } from "/static/keeping.js";
import { LANGUAGES, choose, language, say } from "/static/words.js";

const PAPER = { bright: "#ffffff", dim: "#000000" };

export function setLook(look) {
  document.documentElement.dataset.look = look in PAPER ? look : "bright";
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", PAPER[look] ?? PAPER.bright);
  keep("look", look);
}

// does: {changed(), test()}
export function openSettings(at, settings, does) {
  const dialog = at("settings"), look = () => document.documentElement.dataset.look;

  function fill() {
    const focused = document.activeElement?.textContent;
    at("settings-name").textContent = say("menu");
    at("settings-close").textContent = say("close");
    const again = (change) => () => {
      change();
      does.changed();
      fill();
    };
    const [wall, benches] = [["wall", "/wall"], ["all_benches", "/benches"]].map(([name, href]) => {
      const link = element("a", "choice", say(name));
      link.href = href;
      return link;
    });
    at("settings-list").replaceChildren(
      group(say("language"), Object.entries(LANGUAGES).map(([tag, name]) => {
        const button = choiceButton([name], tag === language(), again(() => choose(tag)));
        button.lang = tag;
        return button;
      }), "narrow"),
      group(say("look_name"), ["bright", "dim"].map((name) =>
        choiceButton([say(name)], look() === name, again(() => setLook(name)))), "narrow"),
      group(say("sound"), [
        choiceButton([say("test")], null, does.test),
        choiceButton([say("spoken")], settings.spoken, again(() => {
          settings.spoken = !settings.spoken;
          keep("spoken", settings.spoken);
        })),
      ], "narrow"),
      group(say("more"), [wall, benches]),
    );
    for (const button of at("settings-list").querySelectorAll("button")) {
      if (button.textContent === focused) button.focus();
    }
  }

  at("settings-close").onclick = () => dialog.close();
  fill();
  dialog.showModal();
}
