// Work in progress, live: asks a JSON address and writes words and bar, until the work is finished.
"use strict";

(() => {
  const FINISHED = new Set(["reduced", "refused", "done", "failed", "cancelled"]);
  const FIRST_MS = 800;
  const LONGEST_MS = 6000;
  const RELOADED_MS = 15000;
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

  class Job {
    constructor(element) {
      this.element = element;
      this.address = element.dataset.progressUrl;
      this.words = element.querySelector("[data-progress-words]");
      this.bar = element.querySelector("progress");
      this.wait = FIRST_MS;
      this.timer = 0;
      if (this.words) this.words.setAttribute("role", "status");
      document.addEventListener("visibilitychange", () => {
        if (!document.hidden && this.timer) this.plan(0);
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

    async ask() {
      if (document.hidden) return this.plan(LONGEST_MS);
      try {
        const response = await fetch(this.address, {
          headers: { Accept: "application/json" },
          credentials: "same-origin",
        });
        if (GONE.has(response.status)) return this.stop("Not visible any more; reload the page.");
        if (!response.ok) throw new Error(`answer ${response.status}`);
        this.show(await response.json());
      } catch (error) {
        this.say("No answer from the server; asking again.");
        this.wait = LONGEST_MS;
        this.plan(this.wait);
      }
    }

    show(answer) {
      this.say(sentence(answer));
      const fraction = isFinished(answer) ? 1 : fractionOf(answer.progress);
      if (this.bar) {
        if (fraction === null) this.bar.removeAttribute("value");
        else this.bar.value = fraction * this.bar.max;
      }
      this.element.dispatchEvent(new CustomEvent("progress-answer", { bubbles: true, detail: answer }));
      if (isFinished(answer)) return this.finish();
      this.wait = Math.min(LONGEST_MS, this.wait * 1.25);
      return this.plan(this.wait);
    }

    finish() {
      clearTimeout(this.timer);
      this.timer = 0;
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
      this.say(text);
    }
  }

  for (const element of document.querySelectorAll("[data-progress-url]")) new Job(element);
})();
