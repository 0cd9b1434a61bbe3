/* A failed check: a tap on one of several buttons says what is written down. */
(function () {
  "use strict";

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("[data-step]");
    if (!button) return;
    button.parentElement.querySelectorAll("[data-step]").forEach((one) => {
      one.setAttribute("aria-pressed", String(one === button));
    });
    window.dash_clientside.set_props("window-kind", { data: button.dataset.step });
  });
})();
