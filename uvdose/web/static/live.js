// The stream from the daemon: it tells what comes, and loudly when nothing comes any more.

export const LOST_MS = 4000; // two beats of the daemon: told well within five seconds
const STUCK_MS = 6000; // a connection that stays open and silent is given up
const LONGEST_WAIT_MS = 4000;

// on: hello, status, lists, happened with their documents; lost and back; denied when this phone is not let in.
export function connect(on) {
  let source = null, heard = Date.now(), opened = 0, tries = 0, lost = false, timer = 0;

  function hear(name) {
    return (event) => {
      heard = Date.now();
      tries = 0;
      on[name]?.(JSON.parse(event.data));
      if (name === "status" && lost) {
        lost = false;
        on.back?.();
      }
    };
  }

  function open() {
    clearTimeout(timer);
    source?.close();
    opened = Date.now();
    source = new EventSource("/api/v1/live");
    for (const name of ["hello", "status", "lists", "happened"]) source.addEventListener(name, hear(name));
    source.onerror = again;
  }

  function again() {
    source?.close();
    source = null;
    clearTimeout(timer);
    timer = setTimeout(open, Math.min(LONGEST_WAIT_MS, 400 * 2 ** tries++));
    if (tries === 2) ask(); // an EventSource does not say why it failed
  }

  async function ask() {
    try {
      const answer = await fetch("/api/v1/hello", { cache: "no-store", signal: AbortSignal.timeout?.(3000) });
      if (answer.status === 401 || answer.status === 403) on.denied?.();
    } catch { /* no connection: the watch below tells it */ }
  }

  function watch() {
    const now = Date.now();
    if (!lost && now - heard > LOST_MS) {
      lost = true;
      on.lost?.();
    }
    if (source !== null && now - Math.max(heard, opened) > STUCK_MS) again();
  }

  setInterval(watch, 250);
  // A phone that was asleep ran no timers: what is on its screen is old before anybody looks.
  document.addEventListener("visibilitychange", watch);
  addEventListener("online", () => { if (source === null) open(); });
  addEventListener("pagehide", () => source?.close());
  addEventListener("pageshow", (event) => { if (event.persisted) open(); });
  open();
  return { age: () => (Date.now() - heard) / 1000, lost: () => lost };
}
