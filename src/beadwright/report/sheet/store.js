// The state of the page, and who wants to know when a part of it changes.

export function createStore(initial) {
  const state = { ...initial };
  const listeners = [];
  let changed = new Set(), waiting = false;
  const tell = () => {
    waiting = false;
    const keys = changed;
    changed = new Set();
    for (const [wanted, act] of listeners) if (wanted.some((key) => keys.has(key))) act(state, keys);
  };
  return {
    state,
    /** Change some keys; listeners run once, before the next picture. */
    set(patch) {
      for (const [key, value] of Object.entries(patch)) {
        if (state[key] === value) continue;
        state[key] = value;
        changed.add(key);
      }
      if (changed.size && !waiting) {
        waiting = true;
        requestAnimationFrame(tell);
      }
    },
    on(keys, act) {
      listeners.push([keys, act]);
    },
    /** Run waiting listeners now: before printing, and where a test measures. */
    flush: tell,
  };
}
