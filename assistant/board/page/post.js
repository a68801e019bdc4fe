import { begin } from "./page.js";

begin();
