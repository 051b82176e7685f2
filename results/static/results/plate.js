// Opens a square of the plate beside it. Without this script its link leads to the same as a page.
"use strict";

(() => {
  const panel = document.getElementById("plate-panel");
  if (!panel || !window.fetch) return;
  const PART = { credentials: "same-origin", headers: { "X-Part": "panel" } };
  let opener = null;

  const close = () => {
    panel.hidden = true;
    panel.replaceChildren();
    document.body.classList.remove("has-panel");
    if (opener && document.contains(opener)) opener.focus();
  };

  const show = (text) => {
    const page = new DOMParser().parseFromString(text, "text/html");
    const part = page.getElementById("cell-panel");
    if (!part) return false;
    const head = document.createElement("h2");
    head.textContent = page.querySelector("h1").textContent;
    const shut = document.createElement("button");
    shut.type = "button";
    shut.textContent = "Close";
    shut.className = "panel-close";
    shut.addEventListener("click", close);
    const bar = document.createElement("div");
    bar.className = "panel-head";
    bar.append(head, shut);
    panel.replaceChildren(bar, document.importNode(part, true));
    for (const leave of panel.querySelectorAll("a.quiet")) leave.addEventListener("click", leaveIt);
    panel.hidden = false;
    document.body.classList.add("has-panel");
    panel.scrollTop = 0;
    const wrong = panel.querySelector("[role=alert], .errorlist");
    if (wrong) wrong.scrollIntoView({ block: "center" });
    panel.focus();
    return true;
  };

  const leaveIt = (event) => {
    event.preventDefault();
    close();
  };

  const open = async (url) => {
    try {
      const answer = await fetch(url, PART);
      if (show(await answer.text())) return;
    } catch (error) {
      // The link itself still works: follow it.
    }
    location.href = url;
  };

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-panel]");
    if (!link || event.metaKey || event.ctrlKey || event.shiftKey || event.button) return;
    event.preventDefault();
    if (!panel.contains(link)) opener = link;
    open(link.href);
  });

  // A refusal comes back into the panel; what was written brings the plate anew.
  panel.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.method !== "post") return;
    event.preventDefault();
    const pressed = form.querySelector("button.main");
    if (pressed) pressed.disabled = true;
    try {
      const answer = await fetch(form.action, { ...PART, method: "POST", body: new FormData(form) });
      if (answer.redirected) {
        const there = new URL(answer.url);
        const isHere = there.pathname === location.pathname && there.search === location.search;
        location.href = answer.url;
        if (isHere) location.reload();
        return;
      }
      if (show(await answer.text())) return;
    } catch (error) {
      // Send it the plain way below.
    }
    form.submit();
  });

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !panel.hidden) close();
  });
})();
