// Runs in a copy of the page: what axe-core finds, and what can be measured. The result goes into the page as JSON, or
// to the page around it where the copy stands in a frame.
window.addEventListener("load", async () => {
  const root = document.documentElement;
  const small = [];
  for (const element of document.querySelectorAll("body *")) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    const box = element.getBoundingClientRect();
    if (!own || box.width === 0) continue;
    const svg = element.closest("svg");
    const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    const size = parseFloat(getComputedStyle(element).fontSize) * scale;
    if (size < 15.95) small.push(`${element.tagName} ${size.toFixed(1)}: ${element.textContent}`);
  }
  const frames = [...document.querySelectorAll(".frame")];
  await document.fonts.ready;
  const found = await axe.run(document, { resultTypes: ["violations", "incomplete"], rules: { "target-size": { enabled: true } } });
  const brief = (results, counts = () => true) =>
    results
      .map((rule) => ({ id: rule.id, impact: rule.impact, targets: rule.nodes.map((node) => node.target.join(" ")).filter(counts) }))
      .filter((rule) => rule.targets.length > 0);
  // axe-core leaves the contrast of drawings open, and that of cells which a frame hides: drawings are measured here,
  // cells where the window is wide.
  const open = (target) => {
    const element = document.querySelector(target);
    const frame = element.closest(".frame");
    return !element.closest("svg") && !(frame && frame.scrollWidth > frame.clientWidth);
  };
  const drawn = [...document.querySelectorAll("svg text")]
    .map((text) => ({ text: text.textContent, contrast: contrast(getComputedStyle(text).fill, getComputedStyle(text.closest("svg").querySelector("rect")).fill) }))
    .filter((text) => !(text.contrast >= 4.5));
  const result = {
    axe: axe.version,
    dark: matchMedia("(prefers-color-scheme: dark)").matches,
    passes: found.passes.length,
    violations: brief(found.violations),
    incomplete: brief(found.incomplete, open),
    drawn,
    drawings: document.querySelectorAll("svg text").length,
    width: root.clientWidth,
    overflow: root.scrollWidth - root.clientWidth,
    scrolling: frames.filter((frame) => frame.scrollWidth > frame.clientWidth).length,
    small,
    faces: [...document.fonts].filter((face) => face.status === "loaded").length,
    loaded: performance.getEntriesByType("resource").map((entry) => entry.name).filter((name) => !name.startsWith("data:")),
  };
  const text = JSON.stringify(result).replace(/[^\x20-\x7e]|[<>&]/g, (letter) =>
    "\\u" + letter.charCodeAt(0).toString(16).padStart(4, "0"));
  if (parent !== window) parent.postMessage(text, "*");
  else show(text);
});
// WCAG 2.1: relative luminance and contrast ratio of two colours, as browsers write them: "rgb(84, 88, 92)".
function contrast(one, other) {
  const luminance = (colour) => {
    const [red, green, blue] = colour.match(/\d+/g).map((part) => {
      const share = part / 255;
      return share <= 0.03928 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  };
  const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b);
  return (light + 0.05) / (dark + 0.05);
}
function show(text) {
  const place = document.createElement("pre");
  place.id = "result";
  place.textContent = text;
  document.body.append(place);
}
