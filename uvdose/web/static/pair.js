// Pairs this phone by the code behind the # of the address. That part of an address is never sent to anybody.
"use strict";

const TEXTS = {
  en: {
    title: "Pair this phone",
    ready: "One tap, and this phone shows the prints in the frame and calls you.",
    label: "What this phone is called (it may stay so)",
    pair: "Pair",
    busy: "Pairing …",
    done: "Paired. The page opens.",
    none: "There is no code in this address. Scan the QR code that the computer shows, or type the whole address, with the part after #.",
    old: "This code is older than ten minutes. Make a new one on the computer: uvdose phone pair",
    used: "This code has been used: each pairs one phone. Make a new one on the computer: uvdose phone pair",
    unknown: "There is no such code. Scan it again, or make a new one on the computer: uvdose phone pair",
    many: "Too many tries. Wait a minute, then scan the code again.",
    away: "The computer does not answer. Is this phone in the same network, and does uvdose run? Then tap once more.",
    other: "This did not work: ",
    phone: "Android phone", tablet: "Android tablet", computer: "Computer",
  },
  de: {
    title: "Dieses Telefon koppeln",
    ready: "Einmal tippen, dann zeigt dieses Telefon die Abzüge im Rahmen und ruft Sie.",
    label: "Name dieses Telefons (kann so bleiben)",
    pair: "Koppeln",
    busy: "Wird gekoppelt …",
    done: "Gekoppelt. Die Seite öffnet sich.",
    none: "In dieser Adresse steht kein Code. Scannen Sie den QR-Code, den der Rechner zeigt, oder tippen Sie die ganze Adresse ein, samt dem Teil nach #.",
    old: "Dieser Code ist älter als zehn Minuten. Am Rechner gibt es einen neuen: uvdose phone pair",
    used: "Dieser Code ist verbraucht: jeder koppelt ein Telefon. Am Rechner gibt es einen neuen: uvdose phone pair",
    unknown: "Diesen Code gibt es nicht. Scannen Sie ihn noch einmal, oder machen Sie am Rechner einen neuen: uvdose phone pair",
    many: "Zu viele Versuche. Warten Sie eine Minute und scannen Sie den Code noch einmal.",
    away: "Der Rechner antwortet nicht. Ist dieses Telefon im selben Netz, und läuft uvdose? Dann tippen Sie noch einmal.",
    other: "Das ging nicht: ",
    phone: "Android-Telefon", tablet: "Android-Tablet", computer: "Rechner",
  },
  fr: {
    title: "Associer ce téléphone",
    ready: "Une touche, et ce téléphone montre les épreuves dans le châssis et vous appelle.",
    label: "Nom de ce téléphone (facultatif)",
    pair: "Associer",
    busy: "Association …",
    done: "Associé. La page s’ouvre.",
    none: "Il n’y a pas de code dans cette adresse. Scannez le code QR affiché par l’ordinateur, ou tapez l’adresse entière, avec la partie après #.",
    old: "Ce code a plus de dix minutes. Faites-en un nouveau sur l’ordinateur : uvdose phone pair",
    used: "Ce code a déjà servi : chacun associe un téléphone. Faites-en un nouveau sur l’ordinateur : uvdose phone pair",
    unknown: "Ce code n’existe pas. Scannez-le encore, ou faites-en un nouveau sur l’ordinateur : uvdose phone pair",
    many: "Trop d’essais. Attendez une minute, puis scannez le code à nouveau.",
    away: "L’ordinateur ne répond pas. Ce téléphone est-il dans le même réseau, et uvdose tourne-t-il ? Puis touchez encore.",
    other: "Cela n’a pas marché : ",
    phone: "Téléphone Android", tablet: "Tablette Android", computer: "Ordinateur",
  },
};

const language = (navigator.languages || [navigator.language]).map((l) => l.slice(0, 2)).find((l) => l in TEXTS) || "en";
const texts = TEXTS[language];
const part = (id) => document.getElementById(id);

function guessed() {
  const agent = navigator.userAgent;
  if (/iPhone/.test(agent)) return "iPhone";
  if (/iPad/.test(agent)) return "iPad";
  if (/Android/.test(agent)) return /Mobile/.test(agent) ? texts.phone : texts.tablet;
  return texts.computer;
}

function tell(words, trouble) {
  part("words").textContent = words;
  part("words").className = trouble ? "trouble" : "";
}

let code = "";

function readCode() {
  code = location.hash.slice(1).trim();
  // The code stays in no history and no bookmark.
  history.replaceState(null, "", location.pathname);
  part("form").hidden = !code;
  tell(code ? texts.ready : texts.none, !code);
}

async function pair() {
  part("pair").disabled = true;
  tell(texts.busy, false);
  try {
    const answer = await fetch("/api/v1/pair", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ code, name: part("name").value }),
      credentials: "same-origin",
      cache: "no-store",
    });
    if (answer.ok) {
      tell(texts.done, false);
      location.replace("/");
      return;
    }
    const told = await answer.json().catch(() => ({}));
    if (answer.status === 429) {
      tell(texts.many, true);
    } else {
      tell(texts[told.why] || texts.other + (told.refused || answer.status), true);
      part("form").hidden = Boolean(told.why);
    }
  } catch (error) {
    tell(texts.away, true);
  }
  part("pair").disabled = false;
}

document.documentElement.lang = language;
document.title = part("title").textContent = texts.title;
part("label").textContent = texts.label;
part("pair").textContent = texts.pair;
part("name").value = guessed();
part("form").addEventListener("submit", (event) => {
  event.preventDefault();
  pair();
});
window.addEventListener("hashchange", () => location.hash && readCode());
readCode();
