/* One name for every form of this device. Without accounts each form asks who writes: who said so once is not asked
   again on the next page, and who changes it on one page has changed it on all. */
(function () {
  "use strict";

  const KEY = "write-technician"; // the page for writing checks down keeps it there
  const FIELDS = "#window-who, input[id*='\"name\":\"who\"']";
  const met = new WeakSet();

  function remembered() {
    try {
      return localStorage.getItem(KEY) || "";
    } catch (refused) {
      return "";
    }
  }

  function meet() {
    document.querySelectorAll(FIELDS).forEach((field) => {
      if (met.has(field)) return;
      met.add(field);
      const name = remembered();
      if (!name || field.value === name) return;
      window.dash_clientside.set_props(field.id.startsWith("{") ? JSON.parse(field.id) : field.id, { value: name });
    });
  }

  function start() {
    new MutationObserver(meet).observe(document.body, { childList: true, subtree: true });
    document.addEventListener("input", (event) => {
      if (!event.target.matches || !event.target.matches(FIELDS)) return;
      try {
        localStorage.setItem(KEY, event.target.value.trim());
      } catch (refused) { /* asked again then */ }
    });
    meet();
  }

  document.body ? start() : document.addEventListener("DOMContentLoaded", start);
})();
