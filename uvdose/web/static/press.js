// Buttons: a tap, and a press of one second that fills up. Both take nothing just after their meaning or place has changed.

const PRESS_MS = 1000;
const SETTLE_MS = 700; // a finger on its way to "hold" must not press the "resume" that it has just become
const CONFIRM_MS = 5000;

// Gives a button its text and its meaning; `meaning` is what it would do, `more` a second line.
export function mean(button, meaning, text, description = "", more = "") {
  if (button.dataset.meaning !== meaning) {
    button.dataset.meaning = meaning;
    button.dataset.since = String(Date.now());
  }
  if (button.dataset.text !== `${text}\n${more}`) {
    button.dataset.text = `${text}\n${more}`;
    const line = document.createElement("small");
    line.textContent = more;
    button.replaceChildren(text, ...(more ? [" ", line] : []));
  }
  if (description) button.setAttribute("aria-description", description);
  if (button.hidden === (meaning === "")) return;
  button.hidden = meaning === "";
  // Its neighbours move: the second tap of two on "quiet" must not press the "hold" that now lies there.
  for (const other of button.closest(".acts")?.querySelectorAll("button") ?? []) other.dataset.since = String(Date.now());
}

const settled = (button) => Date.now() - Number(button.dataset.since ?? 0) >= SETTLE_MS;

// free: a tap that changes nothing at the bench may come at any moment. Of two quick ones else only the first counts.
export function onTap(button, act, free = false) {
  button.addEventListener("click", () => {
    if (!free && !settled(button)) return;
    button.dataset.since = String(Date.now());
    act(button.dataset.meaning);
  });
}

// A press of a second, by finger, mouse or key. A screen reader's activation has no length: it asks once more.
export function onPress(button, act, askAgain) {
  let timer = 0, byHand = false, askedAt = 0;

  function begin() {
    if (timer || !settled(button)) return;
    const { meaning } = button.dataset;
    button.classList.add("pressing");
    timer = setTimeout(() => {
      end();
      if (button.dataset.meaning === meaning) act(meaning); // else somebody else was quicker, and it would do another thing
    }, PRESS_MS);
  }

  function end() {
    clearTimeout(timer);
    timer = 0;
    button.classList.remove("pressing");
  }

  button.addEventListener("pointerdown", (event) => {
    byHand = true;
    if (event.button === 0) begin();
  });
  for (const name of ["pointerup", "pointercancel", "pointerleave", "blur"]) button.addEventListener(name, end);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault(); // else the browser would click as well
    byHand = true;
    if (!event.repeat) begin();
  });
  button.addEventListener("keyup", (event) => {
    if (event.key === "Enter" || event.key === " ") event.preventDefault();
    end();
  });
  button.addEventListener("click", () => {
    if (byHand) {
      byHand = false;
      return;
    }
    if (Date.now() - askedAt < CONFIRM_MS) {
      askedAt = 0;
      act(button.dataset.meaning);
    } else {
      askedAt = Date.now();
      askAgain();
    }
  });
}
