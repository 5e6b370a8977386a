// A plain line plot as SVG: one panel for each quantity, over the same axis.

const SVG = "http://www.w3.org/2000/svg";
const LEFT = 58;
const RIGHT = 14;
const TOP = 30;
const BOTTOM = 44;
const HEIGHT = 230;

function draw(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

/** Round steps of 1, 2 or 5 that cover a range. */
export function ticks(low, high, wanted = 5) {
  if (!(high > low)) return [low];
  const raw = (high - low) / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((each) => each >= raw * 0.999);
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  return Array.from({ length: last - first + 1 }, (_, index) => Number(((first + index) * step).toPrecision(12)));
}

/** A number for people: six digits at most. */
export function short(number, digits = 6) {
  if (Number.isInteger(number) && Math.abs(number) < 1e9) return String(number).replace("-", "−");
  const size = Math.abs(number);
  const text = size >= 1e9 || size < 1e-4 ? number.toExponential(digits - 1).replace(/\.?0+e/, "e") : String(Number(number.toPrecision(digits)));
  return text.replace("-", "−");
}

function range(values) {
  let low = Math.min(...values);
  let high = Math.max(...values);
  // A curve that starts near zero is shown from zero, so that its size is not mistaken.
  if (low > 0 && low < 0.4 * high) low = 0;
  if (high < 0 && high > 0.4 * low) high = 0;
  if (low === high) {
    const half = Math.abs(low) * 0.1 || 1;
    return [low - half, high + half];
  }
  const room = (high - low) * 0.04;
  return [low === 0 ? 0 : low - room, high === 0 ? 0 : high + room];
}

const named = ({ title, unit }) => (unit && unit !== "-" ? `${title} [${unit}]` : title);

/** Quantities of one unit share a panel; "low" and "high" beside another are its band. */
export function grouped(series) {
  const groups = [];
  for (const each of series) {
    const last = groups.at(-1);
    if (last && last.unit === each.unit) last.series.push(each);
    else groups.push({ unit: each.unit, series: [each] });
  }
  return groups.map(({ series: members }) => {
    const [low, high] = ["low", "high"].map((title) => members.find((each) => each.title === title));
    const band = low && high && members.length > 2 ? { low, high } : null;
    return { band, members, lines: band ? members.filter((each) => each !== low && each !== high) : members };
  });
}

/** Places for labels at the end of lines, far enough from each other to be read. */
function spread(wanted, gap, lowest) {
  const order = wanted.map((_, index) => index).sort((a, b) => wanted[a] - wanted[b]);
  const placed = [...wanted];
  order.forEach((index, rank) => {
    if (rank) placed[index] = Math.max(placed[index], placed[order[rank - 1]] + gap);
  });
  // What would stand below the plot moves up, and pushes the others.
  let limit = lowest;
  for (const index of order.reverse()) {
    placed[index] = Math.min(placed[index], limit);
    limit = placed[index] - gap;
  }
  return placed;
}

function panel(x, { band, members, lines }, width) {
  const several = lines.length > 1;
  const right = several ? 74 : RIGHT;
  const inner = width - LEFT - right;
  const depth = HEIGHT - TOP - BOTTOM;
  const [x0, x1] = [Math.min(...x.values), Math.max(...x.values)];
  const [y0, y1] = range(members.flatMap((each) => each.values));
  const across = (value) => LEFT + (x1 > x0 ? (value - x0) / (x1 - x0) : 0.5) * inner;
  const up = (value) => TOP + depth - ((value - y0) / (y1 - y0)) * depth;
  const points = (values) => values.map((value, index) => `${across(x.values[index]).toFixed(2)},${up(value).toFixed(2)}`);
  const told = lines.map((each) =>
    `${named(each)} from ${short(each.values[0])} at ${short(x0)} to ${short(each.values.at(-1))} at ${short(x1)}`);
  const svg = draw("svg", {
    viewBox: `0 0 ${width} ${HEIGHT}`,
    width,
    height: HEIGHT,
    role: "img",
    tabindex: "0",
    class: "plot",
    "aria-label": `Plot over ${named(x)}: ${told.join("; ")}. Left and right keys read single points.`,
  });
  const unit = lines[0].unit === "-" ? "" : `[${lines[0].unit}]`;
  const title = several ? unit : named(lines[0]) + (band ? ", with its band from low to high" : "");
  svg.append(draw("text", { x: 4, y: 16, class: "axis-title" }, title));
  svg.append(draw("text", { x: width - right, y: HEIGHT - 6, class: "axis-title", "text-anchor": "end" }, named(x)));
  if (band) {
    const outline = [...points(band.high.values), ...points(band.low.values).reverse()];
    svg.append(draw("polygon", { points: outline.join(" "), class: "band" }));
  }
  for (const tick of ticks(y0, y1, 5)) {
    svg.append(draw("line", { x1: LEFT, x2: width - right, y1: up(tick), y2: up(tick), class: "rule" }));
    svg.append(draw("text", { x: LEFT - 8, y: up(tick) + 4, class: "tick", "text-anchor": "end" }, short(tick)));
  }
  for (const tick of ticks(x0, x1, Math.max(2, Math.floor(inner / 80)))) {
    svg.append(draw("line", { x1: across(tick), x2: across(tick), y1: TOP + depth, y2: TOP + depth + 4, class: "axis" }));
    svg.append(draw("text", { x: across(tick), y: TOP + depth + 18, class: "tick", "text-anchor": "middle" }, short(tick)));
  }
  svg.append(draw("line", { x1: LEFT, x2: width - right, y1: TOP + depth, y2: TOP + depth, class: "axis" }));
  const ends = spread(lines.map((each) => up(each.values.at(-1))), 14, TOP + depth - 4);
  lines.forEach((each, number) => {
    svg.append(draw("polyline", { points: points(each.values).join(" "), class: `curve curve-${number % 4}` }));
    if (several) svg.append(draw("text", { x: width - right + 6, y: ends[number] + 4, class: "label" }, each.title));
    else if (each.values.length <= 12) {
      each.values.forEach((value, index) =>
        svg.append(draw("circle", { cx: across(x.values[index]), cy: up(value), r: 3, class: "point" })));
    }
  });
  const cursor = draw("g", { class: "cursor", visibility: "hidden" });
  const rule = draw("line", { y1: TOP, y2: TOP + depth });
  const spots = lines.map(() => draw("circle", { r: 4 }));
  cursor.append(rule, ...spots);
  svg.append(cursor);
  const point = (index) => {
    const place = across(x.values[index]);
    rule.setAttribute("x1", place);
    rule.setAttribute("x2", place);
    spots.forEach((spot, number) => {
      spot.setAttribute("cx", place);
      spot.setAttribute("cy", up(lines[number].values[index]));
    });
    cursor.setAttribute("visibility", "visible");
  };
  return { svg, across, point };
}

/** Draw curves into a box, and again whenever its width changes. */
export function plotInto(box, x, series) {
  const readout = document.createElement("p");
  readout.className = "readout";
  readout.setAttribute("aria-live", "polite");
  const hint = "Point at a curve, or reach it with Tab and use the arrow keys, to read a point.";
  readout.textContent = hint;
  let at = -1;
  let panels = [];
  const show = (index) => {
    at = Math.max(0, Math.min(x.values.length - 1, index));
    panels.forEach(({ point }) => point(at));
    const said = [x, ...series].map((each) => `${each.title} ${short(each.values[at])}${each.unit && each.unit !== "-" ? ` ${each.unit}` : ""}`);
    readout.textContent = said.join(" · ");
  };
  const redraw = () => {
    const width = Math.max(240, Math.floor(box.clientWidth));
    panels = grouped(series).map((each) => panel(x, each, width));
    panels.forEach(({ svg, across }) => {
      svg.addEventListener("pointermove", (event) => {
        const place = ((event.clientX - svg.getBoundingClientRect().left) / svg.getBoundingClientRect().width) * width;
        const gaps = x.values.map((value) => Math.abs(across(value) - place));
        show(gaps.indexOf(Math.min(...gaps)));
      });
      svg.addEventListener("keydown", (event) => {
        const next = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: x.values.length - 1 }[event.key];
        if (next === undefined) return;
        event.preventDefault();
        show(next);
      });
    });
    box.replaceChildren(...panels.map(({ svg }) => svg), readout);
    if (at >= 0) show(at);
  };
  let drawn = 0;
  new ResizeObserver(() => {
    const width = Math.floor(box.clientWidth);
    if (!width || width === drawn) return;
    drawn = width;
    const focused = panels.findIndex(({ svg }) => svg === document.activeElement);
    redraw();
    if (focused >= 0) panels[focused].svg.focus();
  }).observe(box);
}
