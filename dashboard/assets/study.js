/* The choice of a study's file: named for who hears the page, opened by keyboard. */

(function () {
  "use strict";

  function named() {
    const file = document.querySelector("#study-file input[type=file]");
    if (!file || file.getAttribute("aria-label")) return;
    file.setAttribute("aria-label", "Filled-in CSV file");
    file.tabIndex = -1;
  }

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    const button = event.target.closest ? event.target.closest("#study-file [role=button]") : null;
    if (!button) return;
    event.preventDefault();
    document.querySelector("#study-file input[type=file]").click();
  });

  new MutationObserver(named).observe(document.documentElement, { childList: true, subtree: true });
})();
