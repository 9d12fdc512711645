// The night: its text as it was opened, and what was changed since. The program puts both together.

export const night = { path: null, text: "", value: {}, defaults: {}, changes: new Map(), gains: [], camera: "" };

export function take(opened) {
  Object.assign(night, { path: opened.path, text: opened.text, value: opened.night, defaults: opened.defaults });
  night.changes.clear();
}

export const draft = () => ({ at: night.path, text: night.text, changes: [...night.changes.values()] });

export const read = (key) => key.reduce((value, step) => (value === null || value === undefined ? value : value[step]), night.value);

/** What is taken where the key is left out; entries of lists share theirs. */
export function taken(key) {
  const way = key[0] === "filters" ? ["filter", ...key.slice(2)] : key;
  return way.reduce((value, step) => (value === null || value === undefined ? value : value[step]), night.defaults);
}

/** Sets a key; `null` takes it out. */
export function write(key, value) {
  const way = [...key];
  const last = way.pop();
  let at = night.value;
  for (const step of way) at = at[step] ??= {};
  at[last] = value;
  // A change above or below another one stands for it.
  const own = JSON.stringify(key).slice(0, -1);
  for (const other of night.changes.keys()) if (other.slice(0, -1).startsWith(`${own},`)) night.changes.delete(other);
  night.changes.delete(JSON.stringify(key));
  night.changes.set(JSON.stringify(key), { key, value });
}
