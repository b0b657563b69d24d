// What the page says, in the reader's language, and numbers in the reader's format.

import { kept, keep } from "/static/keeping.js";

export const LANGUAGES = { en: "English", de: "Deutsch", fr: "Français" };
let texts = {}, chosen = "en", locale = "en";

export async function loadWords() {
  texts = await (await fetch("/static/words.json", { cache: "no-cache" })).json();
  const wanted = navigator.languages?.length ? navigator.languages : [navigator.language ?? "en"];
  const browser = wanted.map((tag) => tag.slice(0, 2).toLowerCase()).find((tag) => tag in LANGUAGES);
  speak(kept("language", null) ?? browser ?? "en");
}

export function speak(language) {
  chosen = language in LANGUAGES ? language : "en";
  // The reader's own region where it fits the language, such as de-CH.
  locale = (navigator.languages ?? []).find((tag) => tag.toLowerCase().startsWith(chosen)) ?? chosen;
  document.documentElement.lang = chosen;
}

export function choose(language) {
  keep("language", language);
  speak(language);
}

export const language = () => chosen;
export const languageTag = () => locale;

// {name} in a text is replaced; a text that is missing shows its key, which tests look for.
export function say(key, values = {}) {
  const text = texts[key]?.[texts.languages.indexOf(chosen)] ?? key;
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

export const has = (key) => key in texts;

// What to do at a step of a strip: in the reader's language where the page knows it, else as the daemon says it.
export const stepText = ({ key, step, words }) => (has(`step.${key}`) ? say(`step.${key}`, { number: step }) : words);

export function number(value) {
  const size = Math.abs(value);
  const digits = size < 1 ? 3 : size < 10 ? 2 : size < 1000 ? 1 : 0;
  return new Intl.NumberFormat(locale, { minimumFractionDigits: size < 1 ? 0 : digits, maximumFractionDigits: digits })
    .format(value);
}

// With its sign, as a correction has it: −0.35.
export const stops = (value) =>
  new Intl.NumberFormat(locale, { signDisplay: "exceptZero", minimumFractionDigits: 2, maximumFractionDigits: 2 }).format(value);

// Rounded down, so that 100 is never shown before it is there.
export const percent = (fraction) => Math.max(0, Math.floor(fraction * 100 + 1e-9));
export const percentText = (fraction) =>
  new Intl.NumberFormat(locale, { style: "percent", maximumFractionDigits: 0 }).format(percent(fraction) / 100);

const UNITS = { "mJ/cm2": "mJ/cm²", "mW/cm2": "mW/cm²" };
export const unit = (plain) => UNITS[plain] ?? plain.replace(".s", "·s");

export function duration(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  const two = (n) => String(n).padStart(2, "0");
  const minutes = Math.floor(whole / 60) % 60, hours = Math.floor(whole / 3600);
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

// How long a print takes, no finer than anybody can foretell it.
export function roughly(seconds) {
  if (seconds < 119.5) return say("seconds", { count: Math.round(seconds) });
  const minutes = Math.round(seconds / 60), hours = Math.floor(minutes / 60);
  if (minutes < 120) return say("minutes", { count: minutes });
  return say("hours", { count: `${hours}:${String(minutes % 60).padStart(2, "0")}` });
}

// A range where both ends are known and differ; else the one value; null where nothing is known.
export function leftText(shown) {
  const { eta_s: middle, eta_low_s: low, eta_high_s: high } = shown;
  if (low != null && high != null && Math.round(low) !== Math.round(high)) return `${duration(low)}–${duration(high)}`;
  return middle == null ? null : duration(middle);
}

// Where the sun sets before the target: what to say of it.
export const notToday = (shown) => (shown.eta_low_s == null ? "not_today" : "perhaps_not_today");

export const clock = (utc) => new Date(utc).toLocaleTimeString(locale, { hour: "2-digit", minute: "2-digit" });
