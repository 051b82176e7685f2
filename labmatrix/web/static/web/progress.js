// Work in progress, live: asks a JSON address, writes words and bar, puts the parts of the page that
// have changed in their place, and stops when there is nothing to wait for.
"use strict";

(() => {
  const FINISHED = new Set(["reduced", "refused", "done", "failed", "cancelled"]);
  const FIRST_MS = 800;
  const LONGEST_MS = 6000;
  const CHANGED_MS = 1500;
  const RELOADED_MS = 15000;
  const TOLD_MS = 5000;
  const GONE = new Set([401, 403, 404, 410]);

  const isFinished = (answer) => answer.finished === true || FINISHED.has(answer.status);

  // The bar takes a fraction; an answer may give one, {fraction, words} or {done, total}.
  const fractionOf = (progress) => {
    if (progress && typeof progress.fraction === "number") return fractionOf(progress.fraction);
    if (typeof progress === "number") return Math.min(1, Math.max(0, progress));
    if (progress && progress.total > 0) return Math.min(1, progress.done / progress.total);
    return null;
  };

  const sentence = (answer) => {
    const doing = isFinished(answer) ? "" : answer.progress && answer.progress.words;
    const parts = [answer.words || answer.message || sentenceCase(doing || answer.status || "waiting")];
    const fraction = fractionOf(answer.progress);
    if (fraction !== null && !isFinished(answer)) parts.push(`${Math.round(fraction * 100)} %`);
    if (answer.next && !isFinished(answer)) parts.push(`Next: ${answer.next}`);
    return parts.join(" · ");
  };

  const sentenceCase = (word) => word.charAt(0).toUpperCase() + word.slice(1);

  const setBar = (bar, fraction) => {
    if (fraction === null) bar.removeAttribute("value");
    else bar.value = fraction * bar.max;
  };

  // The page as it stands now; each of its parts that differs goes into its place, with what was
  // open still open and the focus where it was.
  const brought = new WeakMap();
  const TYPED = "input:not([type=hidden]):not([type=file]):not([type=checkbox]):not([type=radio]), select, textarea";
  const TICKED = "input[type=checkbox], input[type=radio]";
  const bringParts = async () => {
    const response = await fetch(window.location.href, { headers: { Accept: "text/html" }, credentials: "same-origin" });
    if (!response.ok) throw new Error(`answer ${response.status}`);
    // Of the page only its main part: the style in its head bears another nonce than this page's.
    const text = await response.text();
    const main = text.slice(text.indexOf("<main"), text.lastIndexOf("</main>"));
    const fresh = new DOMParser().parseFromString(main, "text/html");
    for (const part of document.querySelectorAll("[data-live-part]")) {
      const come = fresh.querySelector(`[data-live-part="${part.dataset.livePart}"]`);
      if (come && come.innerHTML !== brought.get(part)) putInPlace(part, come);
    }
  };

  const putInPlace = (part, come) => {
    const html = come.innerHTML;
    const open = new Set([...part.querySelectorAll("details[open] > summary")].map((summary) => summary.textContent));
    const focused = part.contains(document.activeElement) ? document.activeElement : null;
    const typed = new Map([...part.querySelectorAll(TYPED)].map((field) => [field.name, field.value]));
    const ticked = new Map([...part.querySelectorAll(TICKED)].map((field) => [`${field.name} ${field.value}`, field.checked]));
    const height = part.getBoundingClientRect().height;
    part.replaceChildren(...come.childNodes);
    brought.set(part, html);
    for (const field of part.querySelectorAll(TYPED)) {
      if (typed.has(field.name)) field.value = typed.get(field.name);
    }
    for (const field of part.querySelectorAll(TICKED)) {
      const was = ticked.get(`${field.name} ${field.value}`);
      if (was !== undefined) field.checked = was;
    }
    for (const summary of part.querySelectorAll("details > summary")) {
      if (open.has(summary.textContent)) summary.parentElement.open = true;
    }
    if (focused) {
      const same = [...part.querySelectorAll(focused.localName)].find(
        (element) => (focused.id ? element.id === focused.id : element.getAttribute("href") === focused.getAttribute("href")),
      );
      if (same) same.focus({ preventScroll: true });
    }
    // What stands below must not jump up under the reader's eyes.
    if (part.getBoundingClientRect().height < height) part.style.minHeight = `${height}px`;
    if (window.notebookFigures) window.notebookFigures.draw(part);
  };

  class Job {
    constructor(element) {
      this.element = element;
      this.address = element.dataset.progressUrl;
      this.words = element.querySelector("[data-progress-words]");
      this.bar = element.querySelector("progress");
      this.wait = FIRST_MS;
      this.timer = 0;
      this.etag = "";
      this.version = element.dataset.progressVersion;
      this.stage = null;
      this.toldAt = 0;
      this.told = document.createElement("span");
      this.told.className = "hidden-text";
      this.told.setAttribute("role", "status");
      element.append(this.told);
      document.addEventListener("visibilitychange", () => {
        if (!this.timer && this.wait === null) return;
        if (document.hidden) clearTimeout(this.timer);
        else this.plan(0);
      });
      this.plan(0);
    }

    plan(milliseconds) {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.ask(), milliseconds);
    }

    say(text) {
      if (this.words && this.words.textContent !== text) this.words.textContent = text;
    }

    // A reader who listens hears each new stage and the end, not every per cent.
    tell(answer) {
      const stage = isFinished(answer) ? "finished" : answer.stage || answer.status || "";
      const isNew = stage !== this.stage;
      if (!isNew || (Date.now() - this.toldAt < TOLD_MS && !isFinished(answer))) return;
      this.stage = stage;
      this.toldAt = Date.now();
      this.told.textContent = sentence(answer);
    }

    async ask() {
      if (document.hidden) return;
      try {
        const headers = { Accept: "application/json" };
        if (this.etag) headers["If-None-Match"] = this.etag;
        const response = await fetch(this.address, { headers, credentials: "same-origin", cache: "no-store" });
        if (GONE.has(response.status)) return this.stop("Not visible any more; reload the page.");
        if (response.status === 304) return this.later();
        if (!response.ok) throw new Error(`answer ${response.status}`);
        this.etag = response.headers.get("ETag") || "";
        await this.show(await response.json());
      } catch (error) {
        this.etag = "";
        this.say("No answer from the server; asking again.");
        this.wait = LONGEST_MS;
        this.plan(this.wait);
      }
    }

    later() {
      this.wait = Math.min(LONGEST_MS, this.wait * 1.25);
      this.plan(this.wait);
    }

    // The parts come first: what is said to be there is there.
    async show(answer) {
      const changed = this.version !== undefined && answer.version !== undefined && answer.version !== this.version;
      if (changed) {
        await bringParts();
        this.version = answer.version;
      }
      this.say(sentence(answer));
      this.tell(answer);
      if (this.bar) setBar(this.bar, isFinished(answer) ? 1 : fractionOf(answer.progress));
      for (const row of answer.rows || []) this.showRow(row);
      this.element.dispatchEvent(new CustomEvent("progress-answer", { bubbles: true, detail: answer }));
      if (isFinished(answer)) return this.finish();
      this.wait = changed ? CHANGED_MS : Math.min(this.wait, CHANGED_MS);
      return this.later();
    }

    showRow(row) {
      const place = document.querySelector(`[data-work="${row.id}"]`);
      if (!place) return;
      const words = place.querySelector("[data-work-words]");
      const bar = place.querySelector("progress");
      if (words && words.textContent !== row.words) words.textContent = row.words;
      if (bar) setBar(bar, fractionOf(row.fraction));
    }

    finish() {
      clearTimeout(this.timer);
      this.timer = 0;
      this.wait = null;
      this.element.dataset.finished = "";
      if ("reloadWhenDone" in this.element.dataset) this.reloadOnce();
    }

    // A page that still shows the work as unfinished after its reload is not reloaded again.
    reloadOnce() {
      const key = `reloaded ${this.address}`;
      if (Date.now() - Number(sessionStorage.getItem(key)) < RELOADED_MS) return;
      sessionStorage.setItem(key, String(Date.now()));
      window.location.reload();
    }

    stop(text) {
      clearTimeout(this.timer);
      this.timer = 0;
      this.wait = null;
      this.say(text);
    }
  }

  for (const element of document.querySelectorAll("[data-progress-url]")) new Job(element);
})();
