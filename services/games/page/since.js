/** The field as this device knows it: the park's last answer, with what was touched here since, sent or not. Pure. */

const CHANGES = {
  "games/ask-hold": (view, { hold, field, cause, occurred_at: at }) => {
    if ((field && field !== view.field) || view.holds.some((one) => one.hold === hold)) return;
    view.holds.push({ hold, cause: cause ?? "other", asked_at: at });
    const clock = view.playing?.clock;
    if (clock && !clock.stopped_at) clock.stopped_at = at;
  },
  "games/confirm-hold": (view, { hold, field, occurred_at: at }) => {
    const one = field === view.field && view.holds.find((other) => other.hold === hold);
    if (one) one.confirmed_at ??= at;
  },
  "games/lift-hold": (view, { hold, field, occurred_at: at }) => {
    if (field !== view.field) return;
    view.holds = view.holds.filter((one) => one.hold !== hold);
    const clock = view.playing?.clock;
    if (!clock?.stopped_at || view.holds.length > 0) return;
    clock.held_seconds += Math.max(0, Date.parse(at) - Date.parse(clock.stopped_at)) / 1000;
    delete clock.stopped_at;
  },
  "games/brief-game": (view, { game }) => {
    if (view.gathered?.game === game) view.gathered.briefed = true;
  },
  "games/record-out": (view, { player }) => mark(view, player, true),
  "games/void-out": (view, { player }) => mark(view, player, false),
  "games/end-game": (view, { game }) => over(view, game),
  "games/abandon-game": (view, { game }) => {
    if (view.gathered?.game === game) delete view.gathered;
    else over(view, game);
  },
  "games/count-heads": (view, { game, counted }) => {
    const one = view.counting.find((other) => other.game === game);
    if (one) Object.assign(one, { counted, sent: true, missing: [] });
  },
  "games/find-player": (view, { game, player }) => {
    const one = view.counting.find((other) => other.game === game);
    if (one) one.missing = one.missing.filter((other) => other.player !== player);
  },
  "games/call-first-aid": (view, { call, field, place, occurred_at: at }) => {
    if (field === view.field && view.aid.every((one) => one.call !== call)) view.aid.push({ call, place, at });
  },
  "games/answer-first-aid": (view, { call }) => {
    view.aid = view.aid.filter((one) => one.call !== call);
  },
};

function mark(view, player, off) {
  for (const one of view.playing?.people ?? []) if (one.player === player) one.off = off;
}

function over(view, game) {
  if (view.playing?.game !== game) return;
  view.counting.push({ game, missing: [], people: view.playing.people });
  delete view.playing;
}

function state(view) {
  if (view.holds.length > 0) return view.holds.every((one) => one.confirmed_at) ? "held" : "hold asked";
  if (view.playing) return "live";
  if (view.counting.some((one) => !one.search_open)) return "counting";
  if ((view.why ?? []).length > 0) return "closed";
  return view.gathered ? (view.gathered.briefed ? "briefed" : "called") : "open";
}

/** The view after these entries of an outbox, in their order. The view that is given stays as it was. */
export function since(answer, entries) {
  const view = structuredClone({ holds: [], counting: [], aid: [], violations: [], ...answer });
  for (const one of view.counting) one.missing ??= [];
  for (const one of [view.playing, view.gathered, ...view.counting]) for (const who of [...(one?.people ?? []), ...(one?.missing ?? [])]) who.part ??= "player";
  for (const { command, body } of entries) CHANGES[command]?.(view, body);
  view.state = state(view);
  return view;
}

/** Seconds that are left on a game's clock at a moment: negative once its time is over. */
export function left(clock, now) {
  const until = clock.stopped_at ? Date.parse(clock.stopped_at) : now;
  return clock.minutes * 60 - ((until - Date.parse(clock.started_at)) / 1000 - clock.held_seconds);
}
