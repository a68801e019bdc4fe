import { begin } from "./page.js";
import { Officer } from "./officer.js";

const officer = new Officer();
begin({
  onView: (view) => officer.see(view),
  onCaughtUp: (update) => officer.caughtUp(update),
  onLink: (state) => officer.linked(state),
});
