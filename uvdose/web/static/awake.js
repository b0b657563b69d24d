// The screen is kept on where the browser allows it; else the page says what to do.

// tell(state): "on", "insecure" (no safe context, so no wake lock), "refused" (the phone said no), "none".
export function keepAwake(tell) {
  let lock = null;

  async function take() {
    if (!isSecureContext) return tell("insecure");
    if (!navigator.wakeLock) return tell("none");
    if (document.visibilityState !== "visible" || (lock !== null && !lock.released)) return undefined;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => tell("released"));
      return tell("on");
    } catch {
      return tell("refused");
    }
  }

  document.addEventListener("visibilitychange", take); // a phone that was put away lets the lock go
  document.addEventListener("click", take);
  take();
}
