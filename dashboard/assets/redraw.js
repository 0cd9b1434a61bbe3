/* Fewer looks at the store of the page. Dash tells it of every part that is newly drawn, one at a time, so that it
   forgets what was noted of the part that stood there before; at each of these every part on the page looks at the
   store again, which takes seconds for a thousand parts. Where nothing was noted there is nothing to forget: the store
   is not told then. */
(function () {
  "use strict";

  const FORGET = "RESET_COMPONENT_STATE";
  const stores = (window.dash_stores = window.dash_stores || []);

  /* What is noted goes by the path of a part, its steps with commas between; of a part goes with it what is within. */
  function noted(state, path) {
    if (!state.layoutHashes || !Array.isArray(path)) return true;
    const start = path.join(",");
    return Object.keys(state.layoutHashes).some((name) => name.startsWith(start));
  }

  function lighten(store) {
    const tell = store.dispatch;
    store.dispatch = (action) => {
      const idle = action && action.type === FORGET && !noted(store.getState(), (action.payload || {}).itempath);
      return idle ? action : tell(action);
    };
  }

  stores.forEach(lighten);
  stores.push = (...more) => {
    more.forEach(lighten);
    return Array.prototype.push.apply(stores, more);
  };
})();
