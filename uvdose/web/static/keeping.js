// What this phone remembers: language, look and such. A browser that keeps nothing loses no more than that.

const PREFIX = "uvdose.";

export function kept(name, otherwise) {
  try {
    const text = localStorage.getItem(PREFIX + name);
    return text === null ? otherwise : JSON.parse(text);
  } catch {
    return otherwise;
  }
}

export function keep(name, value) {
  try {
    localStorage.setItem(PREFIX + name, JSON.stringify(value));
  } catch { /* private browsing: it holds until the page is closed */ }
}
