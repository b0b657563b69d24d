// What the person does, on its way to the daemon, and the one line that comes back.

const PATIENCE_MS = 6000, RECKONED_MS = 60_000; // a small board reckons for some seconds

// {taken}: the daemon's answer. {refused}: its line. {silent}: nothing came back, so that nobody knows.
export async function send(path, body = {}) {
  try {
    const answer = await fetch(`/api/v1/${path}`, {
      method: "POST", credentials: "same-origin", cache: "no-store", body: JSON.stringify(body),
      headers: { "content-type": "application/json" }, signal: AbortSignal.timeout?.(PATIENCE_MS),
    });
    const said = await answer.json();
    return answer.ok ? { taken: said } : { refused: said.refused ?? String(answer.status), status: answer.status };
  } catch {
    return { silent: true };
  }
}

export const lightOf = (exposure) => get(`exposures/${exposure}/light`);
export const outlookOf = (target, sensor) => get(`outlook?${new URLSearchParams({ target, ...(sensor ? { sensor } : {}) })}`, RECKONED_MS);
export const aimOf = (target, sensor) => get(`aim?${new URLSearchParams({ target, ...(sensor ? { sensor } : {}) })}`);
export const queueNow = () => get("queue");

async function get(path, patience = PATIENCE_MS) {
  try {
    const answer = await fetch(`/api/v1/${path}`, { cache: "no-store", signal: AbortSignal.timeout?.(patience) });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}
