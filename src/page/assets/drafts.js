// Drafts in the browser's own storage: one for each night and tab, so that two tabs never write over each other.

const PREFIX = "subwell-draft";
const PAUSE_MS = 300;
/** Steps that are kept where there are too many for the browser. */
const FEW_STEPS = 20;

let folder = "";
let tab = sessionStorage.getItem("subwell-tab");
let timer = null;
let alive = new Set();

const nameOf = (path, of = tab) => `${PREFIX} ${folder} ${path} ${of}`;

/** Who we are: a tab that was copied takes a name of its own. Tabs that are gone left their drafts behind. */
export async function begin(folderName) {
  folder = folderName;
  const locks = navigator.locks;
  if (locks) {
    const held = (await locks.query()).held.map(({ name }) => name);
    alive = new Set(held.filter((name) => name.startsWith("subwell-tab ")).map((name) => name.slice(12)));
  }
  if (!tab || alive.has(tab)) {
    tab = crypto.randomUUID();
    sessionStorage.setItem("subwell-tab", tab);
  }
  locks?.request(`subwell-tab ${tab}`, () => new Promise(() => {}));
}

function drafts(path) {
  const start = nameOf(path, "");
  return Object.keys(localStorage).filter((name) => name.startsWith(start)).flatMap((name) => {
    try { return [{ name, of: name.slice(start.length), ...JSON.parse(localStorage.getItem(name)) }]; } catch { return []; }
  });
}

/** The draft of this tab, or the newest that a closed one left. */
export function loadDraft(path) {
  const all = drafts(path);
  const own = all.find(({ of }) => of === tab);
  if (own) return own;
  const left = all.filter(({ of }) => !alive.has(of)).sort((a, b) => b.at - a.at)[0];
  if (!left) return null;
  localStorage.removeItem(left.name);
  localStorage.setItem(nameOf(path), JSON.stringify({ ...left, name: undefined, of: undefined }));
  return left;
}

/** Nights of the folder that have a draft, with the number of words in it. */
export function kept() {
  const start = `${PREFIX} ${folder} `;
  const found = new Map();
  for (const name of Object.keys(localStorage).filter((own) => own.startsWith(start))) {
    try {
      const { path, words } = JSON.parse(localStorage.getItem(name));
      if (words > 0) found.set(path, Math.max(words, found.get(path) ?? 0));
    } catch { /* not one of ours */ }
  }
  return found;
}

/** Whether another open tab has words of this night that are not saved. */
export const elsewhere = (path) => drafts(path).some(({ of, words }) => of !== tab && alive.has(of) && words > 0);

function write(night, wanted) {
  timer = null;
  if (!night.path) return;
  const { path, text, base, value, taken, undo, redo } = night;
  if (!wanted()) { localStorage.removeItem(nameOf(path)); return; }
  const record = { path, text, base, value, taken, undo, redo, at: Date.now(), words: wanted.count?.() ?? 1 };
  try { localStorage.setItem(nameOf(path), JSON.stringify(record)); } catch {
    try { localStorage.setItem(nameOf(path), JSON.stringify({ ...record, undo: undo.slice(-FEW_STEPS), redo: [] })); } catch { /* the browser is full */ }
  }
}

/** Keeps the night a moment after its last change. */
export function storeDraft(night, wanted) {
  clearTimeout(timer);
  timer = setTimeout(() => write(night, wanted), PAUSE_MS);
  pending = () => write(night, wanted);
}
let pending = null;
/** Keeps it now: the page is about to go. */
export const storeNow = () => { if (timer !== null) { clearTimeout(timer); pending?.(); } };
window.addEventListener("pagehide", storeNow);
window.addEventListener("visibilitychange", () => { if (document.hidden) storeNow(); });
/** Takes the draft of a night away. */
export function dropDraft(path) {
  clearTimeout(timer);
  timer = null;
  localStorage.removeItem(nameOf(path));
}
