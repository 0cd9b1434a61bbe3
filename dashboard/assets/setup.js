/* The set-up sample: a tap on one of several buttons is the value of their field. */
(function () {
  "use strict";

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
