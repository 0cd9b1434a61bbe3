/* The set-up sample: a tap on one of several buttons is the value of their field; its result comes into view. */
(function () {
  "use strict";

  /* What a sample shows stands below a long form: it is brought into view. */
  let shown = null;
  new MutationObserver(() => {
    const done = document.querySelector("#setup-done > *");
    if (done && done !== shown) done.scrollIntoView({ block: "start" });
    shown = done;
  }).observe(document.documentElement, { childList: true, subtree: true });

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("[data-setup]");
    if (!button) return;
    button.parentElement.querySelectorAll("[data-setup]").forEach((one) => {
      one.setAttribute("aria-pressed", String(one === button));
    });
    const field = { part: "setup-field", name: button.dataset.setup };
    window.dash_clientside.set_props(field, { value: button.dataset.value });
  });
})();
