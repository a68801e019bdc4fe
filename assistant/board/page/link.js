// The line to the program: numbered updates, a beat every second, and the truth about silence.

const SILENT_MS = 2500;
const RETRY_MS = 1000;
export const LOOP_QUIET_S = 3;

export class Link {
  constructor({ onUpdate, onBeat, onState }) {
    this.n = 0;
    this.seen = 0;
    this.state = "lost";
    this.closed = false;
    this.told = { onUpdate, onBeat, onState };
    this.source = null;
    this.retry = null;
    this.watched = performance.now();
    setInterval(() => this.watch(), 250);
    window.addEventListener("offline", () => this.lose());
    window.addEventListener("online", () => this.connect());
    document.addEventListener("visibilitychange", () => this.watch());
    this.connect();
  }

  connect() {
    clearTimeout(this.retry);
    this.retry = null;
    this.source?.close();
    this.source = new EventSource(`/updates?after=${this.n}`);
    this.opened = performance.now();
    this.source.addEventListener("board", (event) => this.heard(event, this.told.onUpdate));
    this.source.addEventListener("beat", (event) => this.heard(event, this.told.onBeat));
    this.source.addEventListener("error", () => this.lose());
  }

  heard(event, tell) {
    const data = JSON.parse(event.data);
    this.seen = performance.now();
    if (data.n !== undefined) this.n = data.n;
    tell(data);
    this.closed = this.closed || Boolean(data.view?.closed);
    const quiet = !this.closed && data.quiet_s >= LOOP_QUIET_S;
    this.change(quiet ? "quiet" : "live");
  }

  lose() {
    this.source?.close();
    this.source = null;
    this.change("lost");
    this.retry ??= setTimeout(() => this.connect(), RETRY_MS);
  }

  watch() {
    // A page that was itself held up reads what has arrived before it judges.
    const late = performance.now() - this.watched > 1000;
    this.watched = performance.now();
    if (late) return;
    const since = performance.now() - Math.max(this.seen, this.opened);
    if (this.source && since > SILENT_MS) this.lose();
  }

  change(state) {
    if (this.state === state) return;
    this.state = state;
    this.told.onState(state);
  }
}
