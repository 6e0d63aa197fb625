/** Asking the park: every question bears the device's key, every refusal comes back as its own sentence. */

const KEPT = "fieldledger key";
const here = location.pathname.replace(/\/audit\/?$/, "");

export const park = decodeURIComponent(here.split("/").pop());
export const key = () => sessionStorage.getItem(KEPT);
export const keep = (value) => sessionStorage.setItem(KEPT, value.trim());
export const forget = () => sessionStorage.removeItem(KEPT);

/** The park refused, or could not be reached; the message is what a person is to read. */
export class Refusal extends Error {
  constructor(status, sentence) {
    super(sentence);
    this.status = status;
  }
}

async function send(path, options = {}) {
  let response;
  try {
    response = await fetch(here + path, {
      ...options,
      headers: { Authorization: `Bearer ${key()}`, ...options.headers },
    });
  } catch {
    throw new Refusal(0, "The park's server cannot be reached. Check the network, then ask again.");
  }
  if (response.ok) return response;
  const problem = await response.json().catch(() => ({}));
  throw new Refusal(response.status, problem.detail ?? `The server answered ${response.status}. Ask again shortly.`);
}

const query = (asked) => {
  const given = Object.entries(asked).filter(([, value]) => value !== undefined && value !== null && value !== "");
  return given.length ? `?${new URLSearchParams(given)}` : "";
};

export const get = async (path, asked = {}) => (await send(path + query(asked))).json();

export const post = async (path, body) =>
  (await send(path, { method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json" } })).json();

/** Save what a path answers as a file of the name that the park gives it; returns the name. */
export async function download(path, name) {
  const response = await send(path);
  const given = /filename="([^"]+)"/.exec(response.headers.get("content-disposition") ?? "");
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await response.blob());
  link.download = given ? given[1] : name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  return link.download;
}
