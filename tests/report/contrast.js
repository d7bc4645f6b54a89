// Texts of a page whose contrast against what lies behind them is below 4.5 to 1.
(() => {
  const parse = (colour) => colour.match(/[\d.]+/g).map(Number);
  const linear = (v) => (v / 255 <= 0.03928 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
  const light = (colour) => {
    const [r, g, b] = parse(colour).map(linear);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = getComputedStyle(e).backgroundColor;
      if (parse(colour).length < 4 || parse(colour)[3] > 0) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const own = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  return [...document.querySelectorAll("body *")]
    .filter((e) => own(e) && e.checkVisibility() && !e.closest("svg"))
    .map((e) => {
      const pair = [light(getComputedStyle(e).color), light(behind(e))];
      return [e, (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05)];
    })
    .filter(([, ratio]) => ratio < 4.5)
    .map(([e, ratio]) => `${e.tagName} ${e.className} ${ratio.toFixed(2)} ${e.textContent}`);
})()
