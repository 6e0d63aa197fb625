/** Day passes read without the park: the code's own id, its fingerprint, and its signature where this browser can check one. */

const PREFIX = "FLDP";
const LONGEST_CODE = 64;
const HEAD = 7;
const SIGNATURE = 64;
const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"; // RFC 4648
const DAY_MS = 86_400_000;
const able = globalThis.crypto?.subtle;

/** Why a pass cannot name anybody; the message is what a person is to read. */
export class NoPass extends Error {}

const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const utf8 = (text) => new TextEncoder().encode(text);

/** SHA-256 of a pass's own id, in hex: so is it named in the gate's list. Only pages from a safe origin can make it. */
export async function fingerprint(id) {
  if (!able) throw new NoPass("Without the network this browser cannot read passes here. Type the armband's number.");
  return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", utf8(id))));
}

function base32(text) {
  const bytes = [];
  let held = 0;
  let bits = 0;
  for (const letter of text) {
    const value = ALPHABET.indexOf(letter);
    if (value < 0) return null;
    held = ((held << 5) | value) & 0xffff;
    bits += 5;
    if (bits >= 8) bytes.push((held >> (bits -= 8)) & 255);
  }
  return (held & ((1 << bits) - 1)) === 0 && bits < 5 ? Uint8Array.from(bytes) : null;
}

/**
 * The id of a pass that was shown: `signed` says whether its signature was checked and holds. Raises NoPass.
 * `day` is the park's operating day, as YYYY-MM-DD; `keys` are the park's public keys, as it hands them out.
 */
export async function readPass(shown, day, keys) {
  if (shown.length <= LONGEST_CODE) return { id: shown, signed: false };
  const written = shown.toUpperCase();
  const whole = written.startsWith(PREFIX) ? base32(written.slice(PREFIX.length)) : null;
  if (!whole || whole[0] !== 1 || whole.length <= HEAD + SIGNATURE) throw new NoPass("This is no genuine pass: it was read wrong or in part. Wipe it and scan it once more.");
  const body = whole.slice(0, -SIGNATURE);
  const known = keys.filter((key) => key.id === hex(body.slice(1, 5)));
  if (known.length === 0) throw new NoPass("No key that is known here signed this pass: it is of another park, or made since the network went.");
  const verdicts = await Promise.all(known.map((key) => holds(key, body, whole.slice(-SIGNATURE))));
  if (!verdicts.includes(true) && !verdicts.includes(null)) throw new NoPass("This is no genuine pass: its signature does not hold.");
  const key = known[Math.max(verdicts.indexOf(true), 0)];
  const of = new Date(((body[5] << 8) | body[6]) * DAY_MS).toISOString().slice(0, 10);
  if (of !== day) throw new NoPass(`This pass is for ${of}; today is ${day}.`);
  if (of < key.from_day || (key.until_day && of > key.until_day)) throw new NoPass(`This is no genuine pass: its key signs no passes of ${of}.`);
  return { id: new TextDecoder().decode(body.slice(HEAD)), signed: verdicts.includes(true) };
}

/** Whether the signature holds (RFC 8032); null where this browser cannot say. */
async function holds(key, body, signature) {
  const signed = Uint8Array.from([...utf8(`fieldledger day pass 1\n${key.park}\n`), ...body]);
  let made;
  try {
    made = await crypto.subtle.importKey("raw", Uint8Array.from(atob(key.public_key), (one) => one.charCodeAt(0)), { name: "Ed25519" }, false, ["verify"]);
  } catch {
    return null;
  }
  return crypto.subtle.verify({ name: "Ed25519" }, made, signature, signed);
}
