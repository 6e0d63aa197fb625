/** A page's sign-in: by the device's key, or by the code that a manager has made for the device, which is spent for its key. */

import { el } from "../board/dom.js";
import { base, keep, Refusal, uuid7 } from "./park.js";

const CODE = /^[0-9A-Za-z]{10}$/;
const ANSWERS_WITHIN_MS = 20_000;
const UNSURE = "The park's server cannot be reached. If the code is answered as used when you try again, its key was lost on the way: ask a manager to invite the device anew.";

/** The ten characters of a code as it was typed; nothing where it is a key, which has a dot behind the device's name. */
function codeIn(typed) {
  const plain = typed.replace(/[\s-]/g, "");
  return CODE.test(plain) ? plain : "";
}

/** Takes the invitation: `{ device, key }`. Raises a Refusal. */
async function enrol(code) {
  const headers = { "Content-Type": "application/json", "Idempotency-Key": `"${uuid7()}"` };
  let answer;
  let told;
  try {
    answer = await fetch(`${base}/devices/enrol`, { method: "POST", headers, body: JSON.stringify({ code }), signal: AbortSignal.timeout(ANSWERS_WITHIN_MS) });
    told = await answer.json();
  } catch {
    throw new Refusal(0, UNSURE);
  }
  if (!answer.ok) throw new Refusal(answer.status, told.detail, told.type, told);
  return told;
}

/** Shows the key until somebody says that it is kept: the park has its hash alone. */
function shownOnce(form, { device, key }) {
  const itself = el("output", { id: "new-key" }, key);
  Object.assign(itself.style, { display: "block", font: "700 1.2em monospace", overflowWrap: "anywhere", userSelect: "all" });
  const on = el("button", { type: "button", id: "key-kept" }, "It is kept: go on");
  const section = el(
    "section",
    { "aria-label": "The key of this device" },
    el("h2", {}, `This device is ${device}`),
    el("p", {}, "Its key, shown this once. Keep it as you keep a password, and nowhere else: it opens this page again, and whoever has it is this device."),
    itself,
    el("p", {}, on),
  );
  form.hidden = true;
  form.after(section);
  on.focus();
  return new Promise((resolve) => {
    on.addEventListener("click", () => {
      section.remove();
      resolve();
    });
  });
}

/** Calls `begin` once a key is kept; `say` tells a person why there is none. */
export function signIn(form, begin, say) {
  const typed = form.querySelector("#key");
  const button = form.querySelector("button");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const code = codeIn(typed.value);
    button.disabled = true;
    try {
      const made = code && (await enrol(code));
      keep(made ? made.key : typed.value);
      say("");
      if (made) await shownOnce(form, made);
      begin();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      say(error.message);
    } finally {
      button.disabled = false;
    }
  });
}
