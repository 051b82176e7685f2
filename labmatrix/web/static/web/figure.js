// Draws every <figure data-figure="ID"> from the JSON in <script id="ID">, in the notebook's hand:
// colours and faces from the page's own variables, drawn anew when day turns to dark.
"use strict";

(() => {
  // In the order of --level-0 … --level-6. The control is ink, dashed; no level is plainly dashed.
  const DASHES = ["solid", "12px,3px", "2px,3px", "10px,3px,2px,3px", "18px,4px,4px,4px", "4px,2px", "1px,6px"];
  const MARKERS = ["circle", "square", "diamond", "triangle-up", "triangle-down", "pentagon", "hexagon"];
  const CONTROL_DASHES = ["7px,4px", "3px,3px", "14px,5px", "7px,3px,3px,3px"];
  const CONTROL_MARKERS = ["circle-open", "square-open", "diamond-open", "triangle-up-open"];
  const STEP = 0.6;
  const HINT = "Closer in, every row of the record is drawn.";

  // Raised figures as characters: Plotly's own <sup> writes a style that a strict policy refuses.
  const RAISED = "⁰¹²³⁴⁵⁶⁷⁸⁹";
  const DECADES = Array.from({ length: 11 }, (_, power) => power);
  const decade = (power) => (power < 4 ? ["1", "10", "100", "1\u202f000"][power] : `10${[...String(power)].map((d) => RAISED[d]).join("")}`);
  const LOGARITHMIC = { type: "log", tickvals: DECADES.map((power) => 10 ** power), ticktext: DECADES.map(decade) };

  const KINDS = {
    "load-deflection": {
      xaxis: { title: { text: "Deflection (mm)" }, rangemode: "tozero" },
      yaxis: { title: { text: "Load (kN)" }, rangemode: "tozero" },
    },
    cycles: { xaxis: { title: { text: "Load cycles" }, rangemode: "tozero" } },
  };

  const inks = () => {
    const style = getComputedStyle(document.documentElement);
    const read = (name) => style.getPropertyValue(name).trim();
    return {
      paper: read("--paper"),
      ink: read("--ink"),
      grey: read("--grey"),
      rule: read("--rule"),
      sans: read("--sans"),
      levels: [0, 1, 2, 3, 4, 5, 6].map((level) => read(`--level-${level}`)),
    };
  };

  const veil = (hex, alpha) => {
    const [red, green, blue] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
    return `rgba(${red}, ${green}, ${blue}, ${alpha})`;
  };

  // Deep merge: what the page says wins over what the notebook would do.
  const over = (base, wish) => {
    if (wish === undefined) return base;
    const plain = (value) => value !== null && typeof value === "object" && !Array.isArray(value);
    if (!plain(base) || !plain(wish)) return wish;
    const both = { ...base };
    for (const key of Object.keys(wish)) both[key] = over(base[key], wish[key]);
    return both;
  };

  const lookOf = (meta, ink) => {
    if (meta.control) {
      const at = (Number(meta.control) - 1) % CONTROL_DASHES.length;
      return { colour: ink.ink, dash: CONTROL_DASHES[at], symbol: CONTROL_MARKERS[at] };
    }
    if (meta.level === undefined) return { colour: ink.ink, dash: "solid", symbol: "circle" };
    const at = meta.level % ink.levels.length;
    return { colour: ink.levels[at], dash: DASHES[at], symbol: MARKERS[at] };
  };

  const ROLES = {
    curve: (look, ink) => ({
      mode: "lines",
      line: { color: look.colour, dash: look.dash, width: 2 },
      marker: { color: look.colour, symbol: look.symbol, size: 8, line: { color: ink.ink, width: 0.8 } },
      error_y: { color: look.colour, thickness: 1.2, width: 4 },
      error_x: { color: look.colour, thickness: 1.2, width: 4 },
    }),
    mark: (look, ink) => ({
      mode: "markers+text",
      showlegend: false,
      cliponaxis: false,
      marker: { color: ink.paper, symbol: look.symbol.replace("-open", ""), size: 8, line: { color: look.colour, width: 2 } },
      textposition: "bottom right",
      textfont: { color: ink.ink, size: 13, family: ink.sans },
    }),
    interval: (look) => ({
      mode: "lines",
      fill: "toself",
      fillcolor: veil(look.colour, 0.16),
      line: { width: 0 },
      hoverinfo: "skip",
      showlegend: false,
    }),
    prediction: (look, ink) => ({ mode: "lines", line: { color: ink.grey, dash: "2px,4px", width: 2 } }),
    raw: (look, ink) => ({ mode: "lines", line: { color: ink.grey, width: 1 }, opacity: 0.7 }),
  };

  const drawn = (trace, ink) => {
    const meta = trace.meta || {};
    const role = ROLES[meta.role || "curve"];
    if (!role) throw new Error(`A trace has the role ${meta.role}; allowed is ${Object.keys(ROLES).join(", ")}.`);
    return over({ type: "scatter", ...role(lookOf(meta, ink), ink) }, trace);
  };

  const axis = (ink) => ({
    showline: true,
    linecolor: ink.ink,
    linewidth: 1,
    ticks: "outside",
    ticklen: 5,
    tickcolor: ink.ink,
    tickfont: { size: 13, color: ink.ink },
    title: { font: { size: 14, color: ink.ink }, standoff: 10 },
    gridcolor: ink.rule,
    gridwidth: 1,
    zeroline: false,
    exponentformat: "e",
    automargin: true,
    hoverformat: ".4r",
  });

  const layoutOf = (payload, ink) => {
    const wish = over(KINDS[payload.kind] || {}, payload.layout || {});
    const base = {
      font: { family: ink.sans, size: 14, color: ink.ink },
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      colorway: ink.levels,
      separators: ".\u202f",
      hovermode: "closest",
      hoverlabel: { bgcolor: ink.paper, bordercolor: ink.ink, font: { family: ink.sans, color: ink.ink } },
      margin: { l: 56, r: 12, t: 8, b: 44 },
      legend: { orientation: "h", x: 0, xanchor: "left", y: 1.02, yanchor: "bottom", itemwidth: 44, font: { size: 13 } },
      dragmode: matchMedia("(pointer: coarse)").matches ? false : "zoom",
      uirevision: "kept",
      annotationdefaults: { font: { color: ink.ink }, arrowcolor: ink.grey },
    };
    for (const name of ["xaxis", "yaxis", ...Object.keys(wish).filter((key) => /^[xy]axis\d+$/.test(key))]) {
      base[name] = axis(ink);
    }
    return over(base, wish);
  };

  const CONFIG = { displayModeBar: false, displaylogo: false, responsive: true, doubleClick: "reset", scrollZoom: false };

  class Figure {
    constructor(element) {
      this.element = element;
      this.plot = element.querySelector(".plot");
      this.controls = element.querySelector(".plot-controls");
      this.payload = JSON.parse(document.getElementById(element.dataset.figure).textContent);
      this.logarithmic = ((this.payload.layout || {}).xaxis || {}).type === "log";
      this.moving = [];
      this.printing = false;
      this.asked = 0;
    }

    get draw() {
      const ink = inks();
      const layout = layoutOf(this.payload, ink);
      if (this.payload.kind === "cycles") {
        layout.xaxis = { ...layout.xaxis, ...(this.logarithmic ? LOGARITHMIC : { type: "linear", tickformat: "," }) };
      }
      return [this.payload.data.map((trace) => drawn(trace, ink)), this.printing ? over(layout, this.paperSize) : layout];
    }

    // The column of an A4 page is about 470 CSS pixels wide, with the margin 650: see print.css.
    get paperSize() {
      const small = { tickfont: { size: 10 }, title: { font: { size: 11 } } };
      return {
        width: this.element.classList.contains("wide") ? 650 : 470,
        height: this.element.classList.contains("tall") ? 460 : 300,
        font: { size: 11 },
        legend: { font: { size: 10.5 } },
        xaxis: small,
        yaxis: small,
      };
    }

    async first() {
      await Promise.all([document.fonts.load('14px "Source Sans 3"'), document.fonts.ready]);
      this.plot.replaceChildren();
      await Plotly.newPlot(this.plot, ...this.draw, CONFIG);
      await this.placeNames();
      this.addControls();
      this.plot.on("plotly_relayout", (change) => {
        const isMove = Object.keys(change).some((key) => key.includes("axis"));
        if (!isMove) this.resized();
        this.enable();
        this.finer();
      });
      // A point whose customdata is an address of this site leads there; the data table has the same links.
      this.plot.on("plotly_click", ({ points: [point] }) => {
        const address = point && point.customdata;
        if (typeof address === "string" && address.startsWith("/") && !address.startsWith("//")) location.assign(address);
      });
      this.element.dataset.drawn = "";
      if (this.payload.finer) this.say(HINT);
      if ((this.payload.finer || {}).at_once) this.finer();
    }

    // Another size of the page may find another range by itself, which is no move; and Plotly sets
    // the legend by the size before.
    resized() {
      if (this.moving.every((button) => button.hidden)) this.start = this.ranges();
      clearTimeout(this.settling);
      this.settling = setTimeout(() => this.placeNames(), 100);
    }

    // The names of found points change sides where the picture would cut them.
    placeNames() {
      const axis = this.plot._fullLayout.xaxis;
      const side = (wish, x, words) => {
        const [height, where] = (wish || "bottom right").split(" ");
        const left = axis.d2p(x) + 30;
        const right = axis._length - axis.d2p(x);
        const share = where === "center" ? 0.5 : 1;
        const needed = (String(words || "").length * 7 + 12) * share;
        if (where !== "right" && left < needed && right > left) return `${height} right`;
        if (where !== "left" && right < needed && left > right) return `${height} left`;
        return `${height} ${where}`;
      };
      const data = this.payload.data;
      const at = [...data.keys()].filter((index) => (data[index].meta || {}).role === "mark" && Array.isArray(data[index].text));
      if (!at.length) return Plotly.redraw(this.plot);
      const places = at.map((index) => {
        const { x, text, textposition: wish } = data[index];
        return x.map((value, k) => side(Array.isArray(wish) ? wish[k] : wish, value, text[k]));
      });
      return Plotly.restyle(this.plot, { textposition: places }, at);
    }

    async again() {
      if (!("drawn" in this.element.dataset)) return;
      await Plotly.react(this.plot, ...this.draw, CONFIG);
      this.finer();
    }

    // Every row of the part in view, where payload.finer names an address that has them.
    finer() {
      if (!this.payload.finer) return;
      clearTimeout(this.waiting);
      this.waiting = setTimeout(() => this.askFiner(), 200);
    }

    async askFiner() {
      const number = (this.asked += 1);
      const { url, at_once: atOnce } = this.payload.finer;
      if (!this.away && !atOnce) return this.putFiner({}, HINT);
      this.say("Fetching every row in view …");
      const address = new URL(url, location.href);
      for (const name of this.away ? ["x", "y"] : []) {
        const [low, high] = this.plot._fullLayout[`${name}axis`].range.map((value) => this.toBase(name, value));
        address.searchParams.set(`${name}_from`, low);
        address.searchParams.set(`${name}_to`, high);
      }
      let answer;
      try {
        const response = await fetch(address, { headers: { Accept: "application/json" }, credentials: "same-origin" });
        answer = await response.json();
      } catch (error) {
        answer = { message: "The server did not answer." };
      }
      if (number === this.asked) this.putFiner(answer.lines || {}, answer.words || `The coarse curve stays: ${answer.message}`);
      return undefined;
    }

    putFiner(lines, words) {
      this.say(words);
      const at = [...this.payload.data.keys()].filter((index) => (this.payload.data[index].meta || {}).line);
      const points = at.map((index) => {
        const line = lines[this.payload.data[index].meta.line];
        return line ? { x: this.fromBase("x", line.x), y: this.fromBase("y", line.y) } : this.payload.data[index];
      });
      return Plotly.restyle(this.plot, { x: points.map((line) => line.x), y: points.map((line) => line.y) }, at);
    }

    // The server has rows in base units; finer.units says how the person's are got from them.
    scale(name) {
      return ((this.payload.finer || {}).units || {})[name] || [1, 0];
    }

    toBase(name, value) {
      const [factor, offset] = this.scale(name);
      return (value - offset) / factor;
    }

    fromBase(name, values) {
      const [factor, offset] = this.scale(name);
      return values.map((value) => (value === null ? null : value * factor + offset));
    }

    say(words) {
      if (!this.words) {
        this.words = document.createElement("output");
        this.controls.after(this.words);
      }
      this.words.textContent = words;
    }

    fit() {
      if ("drawn" in this.element.dataset) Plotly.Plots.resize(this.plot);
    }

    button(words, act, label) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = words;
      if (label) button.setAttribute("aria-label", label);
      button.addEventListener("click", act);
      this.controls.append(button);
      return button;
    }

    addControls() {
      if (this.payload.kind === "cycles") {
        const toggle = this.button("Logarithmic axis", () => {
          this.logarithmic = !this.logarithmic;
          toggle.setAttribute("aria-pressed", String(this.logarithmic));
          // The seen range belongs to the other scale: start from the whole range.
          Plotly.relayout(this.plot, { "xaxis.autorange": true }).then(() => this.again());
        });
        toggle.setAttribute("aria-pressed", String(this.logarithmic));
      }
      this.button("Closer", () => this.zoom(STEP));
      this.moving = [
        this.button("Wider", () => this.zoom(1 / STEP)),
        this.button("←", () => this.shift(-0.25, 0), "Move left"),
        this.button("→", () => this.shift(0.25, 0), "Move right"),
        this.button("↑", () => this.shift(0, 0.25), "Move up"),
        this.button("↓", () => this.shift(0, -0.25), "Move down"),
        this.button("Whole range", () => this.whole()),
      ];
      this.start = this.ranges();
      this.enable();
      this.controls.hidden = false;
    }

    axes() {
      return Object.keys(this.plot._fullLayout).filter((key) => /^[xy]axis\d*$/.test(key));
    }

    ranges() {
      return Object.fromEntries(this.axes().map((name) => [name, [...this.plot._fullLayout[name].range]]));
    }

    set(change) {
      const update = {};
      for (const [name, [low, high]] of Object.entries(this.ranges())) {
        if (typeof low === "number") update[`${name}.range`] = change(name, low, high);
      }
      Plotly.relayout(this.plot, update);
    }

    zoom(factor) {
      this.set((name, low, high) => {
        const middle = (low + high) / 2;
        const half = ((high - low) / 2) * factor;
        return [middle - half, middle + half];
      });
      this.enable(true);
    }

    shift(right, up) {
      this.set((name, low, high) => {
        const by = (high - low) * (name.startsWith("x") ? right : up);
        return [low + by, high + by];
      });
    }

    whole() {
      const update = {};
      for (const name of this.axes()) {
        const fixed = ((this.payload.layout || {})[name] || {}).range;
        if (fixed) update[`${name}.range`] = [...fixed];
        else update[`${name}.autorange`] = true;
      }
      Plotly.relayout(this.plot, update).then(() => this.enable());
    }

    get away() {
      return Object.entries(this.ranges()).some(([name, range]) => {
        const was = this.start[name] || range;
        const slack = Math.abs(was[1] - was[0]) * 1e-6;
        return range.some((value, at) => Math.abs(value - was[at]) > slack);
      });
    }

    // Moving about makes sense only when something lies outside the view.
    enable(moved) {
      const away = moved || this.away;
      for (const button of this.moving) button.hidden = !away;
    }
  }

  const figures = [];
  const redraw = () => Promise.all(figures.map((figure) => figure.again()));

  // Also for a part of the page that came later: notebookFigures.draw(part).
  const draw = async (part) => {
    const found = [...part.querySelectorAll("figure[data-figure]:not([data-drawn])")];
    const fresh = found.map((element) => new Figure(element));
    const still = figures.filter((figure) => figure.element.isConnected);
    figures.splice(0, figures.length, ...still, ...fresh);
    for (const figure of fresh) {
      try {
        await figure.first();
      } catch (error) {
        const words = document.createElement("p");
        words.className = "plot-empty";
        words.textContent = "The picture could not be drawn; the data table below holds its numbers.";
        figure.plot.replaceChildren(words);
        console.error(error);
      }
    }
  };

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  new MutationObserver(redraw).observe(document.documentElement, { attributeFilter: ["data-theme"] });

  // Paper is always day, and narrower than the screen.
  let themeBefore;
  const onPaper = async (printing) => {
    for (const figure of figures) figure.printing = printing;
    await redraw();
    if (!printing) for (const figure of figures) figure.fit();
  };
  window.addEventListener("beforeprint", () => {
    themeBefore = document.documentElement.dataset.theme;
    document.documentElement.dataset.theme = "day";
    onPaper(true);
  });
  window.addEventListener("afterprint", () => {
    if (themeBefore) document.documentElement.dataset.theme = themeBefore;
    else delete document.documentElement.dataset.theme;
    onPaper(false);
  });

  window.notebookFigures = { draw, redraw };
  draw(document);
})();
