/* What must stand on a page whatever its width: heading, title, units, captions, data. */
() => {
  // What is counted or numbered is its own unit; ratios are not: they carry a dash.
  const COUNTS = new RegExp(`^((control |its |free )?(n|plies|load cycles?( before)?|reference cycle|row of the record`
    + `|tests|specimens( that move)?|of them move|cells|series|planned|made|in progress|ended|there|positions?|files|numbers|warnings|changes`
    + `|lower bounds left out|version|row|number|members|levels|factors)( without)?)$`, "i");
  const words = (one) => (one ? one.textContent.trim().replace(/\s+/g, " ") : "");
  const said = [];
  const headings = document.querySelectorAll("h1").length;
  if (headings !== 1) said.push(`${headings} h1`);
  if (!words(document.querySelector("h1"))) said.push("the h1 is empty");
  if (!/\S+ · \S+/.test(document.title)) said.push(`title “${document.title}” lacks page or laboratory`);

  const isNumber = (text) => /^[≥≤<>~≈]?\s*[+−-]?\d[\d\s.,]*(×\s?10[⁻⁰¹²³⁴-⁹]+)?(\s*\(u .*\))?$/.test(text);
  for (const table of document.querySelectorAll("table")) {
    const head = table.tHead && table.tHead.rows[table.tHead.rows.length - 1];
    if (!head) continue;
    const heads = [];
    for (const cell of head.cells) for (let k = 0; k < cell.colSpan; k++) heads.push(cell);
    const columns = heads.map(() => []);
    for (const body of table.tBodies) for (const row of body.rows) {
      let at = 0;
      for (const cell of row.cells) {
        if (columns[at] && cell.colSpan === 1) columns[at].push(words(cell));
        at += cell.colSpan;
      }
    }
    heads.forEach((cell, at) => {
      const told = columns[at].filter((text) => text && !/^[–—-]/.test(text));
      if (!told.length || !told.every(isNumber)) return;
      if (words(cell.querySelector(".unit")) || heads.some((other) => words(other) === "Unit")) return;
      if (COUNTS.test(words(cell))) return;
      said.push(`column “${words(cell)}” of “${words(table.caption) || table.closest("[aria-label]")?.getAttribute("aria-label")}” has numbers (${told[0]}) and no unit`);
    });
  }
  for (const figure of document.querySelectorAll("figure")) {
    const caption = words(figure.querySelector("figcaption"));
    if (!caption) said.push(`figure ${figure.id} has no caption`);
    if (!figure.querySelector("table")) said.push(`figure “${caption.slice(0, 60)}” has no data table`);
  }
  for (const plot of document.querySelectorAll(".plot"))
    if (!plot.closest("figure")) said.push("a plot stands outside a figure");
  return said;
}
