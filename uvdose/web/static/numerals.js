// Figures drawn as strokes in a box of 54 x 100, so that their height on the screen does not hang on the phone's fonts.

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 54, GAP = 11, SIGN = 40;

const STROKES = {
  0: "M7.5 29a19.5 21.5 0 0 1 39 0v42a19.5 21.5 0 0 1-39 0z",
  1: "M8 32L30.5 15V100",
  2: "M8.5 36V29a18.5 21.5 0 0 1 37 0c0 14-8 23-33 63.5H49",
  3: "M8.5 28a18.5 19.9 0 1 1 18.5 19.3h-7h7a19.5 22.6 0 1 1-19.5 25",
  4: "M36 100V0M36 8L9 69.5H54",
  5: "M46 7.5H15L12 47M11.5 48.5c4-5 9-7.5 15-7.5a20 25.75 0 1 1-19.5 32",
  6: "M38.1 3.5L10.9 54.3A19.5 24.5 0 1 0 43.1 54.3A19.5 24.5 0 0 0 10.9 54.3",
  7: "M4 7.5H45L19.8 97.5",
  8: "M27 7.5a17 20 0 1 1-.1 0zM27 47.5a19.5 22.5 0 1 1-.1 0z",
  9: "M15.9 96.5L43.1 45.7A19.5 24.5 0 1 0 10.9 45.7A19.5 24.5 0 0 0 43.1 45.7",
  "-": "M8 50H46",
};

export function node(name, attributes, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

// text: digits; sign: a small per cent sign behind them; struck: a line through all of it.
export function figures(text, { sign = false, struck = false } = {}) {
  const chars = [...text];
  const width = chars.length * (WIDTH + GAP) - GAP + (sign ? SIGN : 0);
  const lines = chars.map((char, i) =>
    node("path", { d: STROKES[char] ?? STROKES["-"], transform: `translate(${i * (WIDTH + GAP)} 0)` }));
  if (sign) {
    const at = chars.length * (WIDTH + GAP) - 2;
    lines.push(node("path", {
      d: "M6 9.5a5 6 0 1 1-.1 0zM26 25.5a5 6 0 1 1-.1 0zM27 4L5 42", transform: `translate(${at} 0)`, "stroke-width": 5.5,
    }));
  }
  if (struck) lines.push(node("path", { d: `M-4 96L${width + 4} 4`, class: "strike" }));
  return node("svg", {
    viewBox: `0 0 ${width} 100`, class: "figures", "aria-hidden": "true", focusable: "false",
    fill: "none", stroke: "currentColor", "stroke-width": 15, "stroke-miterlimit": 3,
  }, ...lines);
}

// Each state has a form of its own, so that it is told without colour.
const FORMS = {
  ready: "M50 10a40 40 0 1 1-.1 0z",
  wait: "M14 8H86L50 50L86 92H14L50 50z",
  count: "M20 8L92 50L20 92z",
  held: "M16 8H42V92H16zM58 8H84V92H58z",
  soon: "M50 6L96 92H4zM50 36V62M50 72V82",
  look: "M4 50Q50 2 96 50Q50 98 4 50zM50 36a14 14 0 1 1-.1 0z",
  card: "M8 20H70V92H8zM30 8H92V72",
  enough: "M6 54L36 86L94 14",
  over: "M8 88L50 46L92 88M8 48L50 6L92 48",
  blind: "M4 50Q50 2 96 50Q50 98 4 50zM12 92L88 8",
  lost: "M10 10L90 90M90 10L10 90",
  done: "M10 10H90V90H10zM28 52L44 68L74 34",
};
const SOLID = new Set(["count", "held", "wait"]);

export function form(name) {
  return node("svg", { viewBox: "-6 -6 112 112", class: "form", "aria-hidden": "true", focusable: "false" },
    node("path", {
      d: FORMS[name] ?? FORMS.ready, fill: SOLID.has(name) ? "currentColor" : "none", stroke: "currentColor",
      "stroke-width": SOLID.has(name) ? 0 : 13, "stroke-miterlimit": 3,
    }));
}
