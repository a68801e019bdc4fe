// Sending an officer's action: once, whatever the connection does. An action is done when the record says so.

const TRIES = 4;
const WAIT_MS = 1500;
const PATIENCE_MS = 7000;

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function post(path, body) {
  const response = await fetch(path, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body),
    credentials: "same-origin",
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  return { status: response.status, content: await response.json() };
}

export async function whoAmI() {
  const response = await fetch("/session", { credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE_MS) });
  return response.json();
}

export async function signIn(pin) {
  return post("/session", { pin });
}

export async function signOut() {
  return post("/session/end", {});
}

// Gives {state: recorded | refused | outdated | signed-out | unknown, words}.
export async function act(name, fields) {
  const body = { id: newId(), ...fields };
  for (let tried = 1; tried <= TRIES; tried += 1) {
    try {
      const { status, content } = await post(`/actions/${name}`, body);
      return judged(status, content);
    } catch {
      if (tried < TRIES) await new Promise((done) => setTimeout(done, WAIT_MS));
    }
  }
  return { state: "unknown", words: "No answer: it may or may not be on record. Look at the board before you press again." };
}

function judged(status, content) {
  if (status === 200) {
    const said = content.said.join(" ");
    return content.refused
      ? { state: "refused", words: `Refused (record ${content.n}): ${said}` }
      : { state: "recorded", words: `On record as ${content.n}: ${said}` };
  }
  if (status === 401) return { state: "signed-out", words: content.error };
  return { state: status === 504 ? "unknown" : "outdated", words: content.error };
}
