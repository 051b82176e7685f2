/* What the walk asks of a page at its present width; answers lists of sentences. */
() => {
  const name = (one) => {
    const klass = (one.getAttribute("class") || "").trim().split(/\s+/).filter(Boolean).join(".");
    const words = (one.textContent || "").trim().replace(/\s+/g, " ").slice(0, 50);
    return `${one.tagName.toLowerCase()}${one.id ? "#" + one.id : ""}${klass ? "." + klass : ""} “${words}”`;
  };
  const seen = (one) => one.checkVisibility({ visibilityProperty: true, opacityProperty: true });
  const ownText = (one) => [...one.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
  const scrolls = (one) => one.closest(".table-scroll, .hidden-text, .skip, svg, pre, [data-scrolls]");
  const all = [...document.body.querySelectorAll("*")].filter((one) => seen(one));

  const wide = document.documentElement.scrollWidth - innerWidth;
  const over = all
    .filter((one) => !scrolls(one))
    .filter((one) => {
      const box = one.getBoundingClientRect();
      return box.width > 0 && (box.right > innerWidth + 1 || box.left < -1);
    })
    .map((one) => `runs over the edge: ${name(one)}`);
  if (wide > 0) over.push(`the page is ${wide} px wider than the window`);

  const clipped = all
    .filter((one) => !one.closest("svg, .hidden-text, .skip, select, .plot") && ownText(one))
    .filter((one) => {
      const style = getComputedStyle(one);
      if (style.display === "inline" || style.display === "contents") return false;
      if (one.scrollWidth > one.clientWidth + 2 && !/auto|scroll/.test(style.overflowX)) return true;
      return /hidden|clip/.test(style.overflowY) && one.scrollHeight > one.clientHeight + 2;
    })
    .map((one) => `text does not fit its box: ${name(one)}`);

  const drawn = [...document.querySelectorAll("svg text")]
    .filter((one) => seen(one) && one.textContent.trim())
    .filter((one) => {
      let svg = one.ownerSVGElement;
      while (svg.parentElement && svg.parentElement.closest("svg")) svg = svg.parentElement.closest("svg");
      const [text, box] = [one.getBoundingClientRect(), svg.getBoundingClientRect()];
      return text.width > 0 && (text.left < box.left - 2 || text.right > box.right + 2
        || text.top < box.top - 2 || text.bottom > box.bottom + 2);
    })
    .map((one) => `drawn text is cut: ${name(one)}`);

  return [...over, ...clipped, ...drawn];
}
