// The page: list of functions, form and result of one, how to connect spreadsheets, and the state of the server.

import { Refused, VERSION, call, functions, guides, health, takeKey } from "./client.js";
import { Form, element, shownUnit } from "./form.js";
import { errorShown, resultShown } from "./result.js";

const $ = (id) => document.getElementById(id);
const main = $("main");
const WAIT = 250;
const LOOK_EVERY = 15000;

let known = [];
let lines = [];
let connecting = [];

function say(state, text) {
  const status = $("status");
  if (status.dataset.state === state && status.textContent === text) return;
  status.dataset.state = state;
  status.textContent = text;
}

function warn(text) {
  $("banner").hidden = !text;
  $("banner").textContent = text;
}

async function look() {
  try {
    const { authorised, version } = await health();
    if (version !== VERSION) {
      say("bad", "Page is out of date");
      warn(`This page is of Dampcell ${VERSION}, the server of Dampcell ${version}. Load the page again.`);
    } else if (authorised) {
      say("good", `Connected · ${version}`);
      warn("");
    } else {
      say("bad", "Not unlocked");
      warn("This page may not calculate yet. Run “dampcell serve --link” in a terminal, and open the link that it prints.");
    }
  } catch (error) {
    say("bad", "Server not running");
    warn(error.message);
  }
}

function paragraphs(text) {
  return text.split(/\n\s*\n/).filter((each) => each.trim()).map((each) => element("p", {}, each.replaceAll("``", "").trim()));
}

function copyButton(text) {
  const button = element("button", { type: "button", class: "quiet" }, "Copy");
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(text());
      button.textContent = "Copied";
    } catch {
      button.textContent = "Not allowed here";
    }
    setTimeout(() => { button.textContent = "Copy"; }, 1500);
  });
  return button;
}

function back() {
  return element("p", { class: "back" }, element("a", { href: "#/" }, "‹ All functions"));
}

function argumentTable(described) {
  const rows = described.arguments.map((argument) => {
    const unit = argument.table ? "table" : shownUnit(argument.unit) || (argument.kind === "choice" ? argument.choices.join(", ") : "–");
    const usual = argument.required ? "required" : argument.default === null ? "may be left out" : `default ${argument.default}`;
    return element("tr", {}, [
      element("th", { scope: "row" }, argument.name), element("td", {}, unit), element("td", {}, usual), element("td", {}, argument.help),
    ]);
  });
  const heads = ["Argument", "Unit", "Needed", "Meaning"].map((head) => element("th", { scope: "col" }, head));
  const table = element("table", { class: "help-table" }, [element("thead", {}, element("tr", {}, heads)), element("tbody", {}, rows)]);
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Arguments" }, table);
}

function showFunction(described) {
  const formula = element("code", { id: "formula" });
  const output = element("div", { class: "output", "aria-live": "polite", "aria-busy": "false" });
  let timer = 0;
  let running = null;

  const form = new Form(described, () => {
    clearTimeout(timer);
    formula.textContent = form.formula();
    timer = setTimeout(calculate, WAIT);
  });

  async function calculate() {
    clearTimeout(timer);
    running?.abort();
    const mine = (running = new AbortController());
    formula.textContent = form.formula();
    output.setAttribute("aria-busy", "true");
    let shown;
    let place = null;
    try {
      const result = await call(described.name, form.read(), mine.signal);
      shown = resultShown(described, result);
      place = result.error?.argument;
    } catch (error) {
      if (error.name === "AbortError") return;
      if (!(error instanceof Refused)) throw error;
      shown = [errorShown("", error.message)];
      look();
    }
    if (mine !== running) return;
    form.clearMarks();
    if (place) form.mark(place);
    output.replaceChildren(...shown);
    output.setAttribute("aria-busy", "false");
  }

  const go = element("button", { type: "submit" }, "Calculate");
  const example = element("button", { type: "button", class: "quiet" }, "Fill in the example");
  const blank = element("button", { type: "button", class: "quiet" }, "Clear");
  example.addEventListener("click", () => { form.fill(described.example_arguments); calculate(); });
  blank.addEventListener("click", () => {
    form.fill([]);
    running?.abort();
    formula.textContent = form.formula();
    output.replaceChildren(element("p", { class: "help" }, "Fill in the fields to see the result."));
    form.element.querySelector("input, select, textarea")?.focus();
  });
  form.element.append(element("div", { class: "actions" }, [go, example, blank]));
  form.element.addEventListener("submit", (event) => { event.preventDefault(); calculate(); });
  form.fill(described.example_arguments);

  const about = element("details", { class: "more" }, [
    element("summary", {}, "How it is calculated, and where it holds"),
    ...paragraphs(described.description),
    element("p", { class: "source" }, [element("strong", {}, "Source: "), described.source || "none given"]),
    argumentTable(described),
  ]);
  main.replaceChildren(
    back(),
    element("p", { class: "family" }, described.family),
    element("h1", {}, described.cell_name),
    element("p", { class: "summary" }, `${described.summary}.`),
    element("div", { class: "work" }, [
      element("section", { "aria-label": "Arguments" }, form.element),
      element("section", { "aria-label": "Result", class: "result" }, [
        element("h2", {}, described.result.charAt(0).toUpperCase() + described.result.slice(1)),
        output,
        element("h2", {}, "In a cell"),
        element("div", { class: "formula" }, [formula, copyButton(() => formula.textContent)]),
        element("p", { class: "help" }, "Put cell references in place of the values. Where your spreadsheet separates arguments by semicolons, write ; for each comma."),
      ]),
    ]),
    about,
    element("p", { class: "caution" }, "Results are estimates, to be confirmed by a qualified person. The maker's manual comes first."),
  );
  calculate();
}

function stepText(text) {
  return text.split(/(`[^`]+`)/).filter(Boolean).map((part) => (part.startsWith("`") ? element("code", {}, part.slice(1, -1)) : part));
}

function showConnect() {
  const shown = connecting.map((guide) => {
    const parts = [
      element("h2", {}, guide.title),
      element("p", {}, guide.intro),
      element("ol", {}, guide.steps.map((step) => element("li", {}, stepText(step)))),
    ];
    if (guide.example) {
      parts.push(element("div", { class: "formula" }, [element("code", {}, guide.example), copyButton(() => guide.example)]));
    }
    return element("section", { id: `connect-${guide.key}`, class: "guide" }, parts);
  });
  main.replaceChildren(
    back(),
    element("h1", {}, "Connect a spreadsheet"),
    element("p", { class: "summary" }, "The same formula gives the same number in each of them, because all ask this one server."),
    ...shown,
  );
}

function showWelcome() {
  main.replaceChildren(
    element("h1", {}, "What would it do to the damper?"),
    element("p", { class: "summary" }, `${known.length} functions for shim stacks, oil, fills and bleeds. Each works in a cell of your spreadsheet; here you can try it, and see its units, its source and where it holds.`),
    element("p", {}, element("a", { class: "button", href: "#/connect" }, "Connect a spreadsheet")),
    element("h2", {}, "A start"),
    element("ul", { class: "starts" }, known.filter((each, index) => index === 0 || each.curve || each.family !== known[index - 1].family).slice(0, 8).map((each) =>
      element("li", {}, [element("a", { href: `#/f/${each.name}` }, each.cell_name), ` ${each.summary}.`]))),
  );
}

function buildList() {
  const families = new Map();
  for (const each of known) families.set(each.family, [...(families.get(each.family) ?? []), each]);
  lines = [];
  $("list").replaceChildren(...[...families].map(([family, members], number) => {
    const items = members.map((each) => {
      const link = element("a", { href: `#/f/${each.name}` }, [element("span", { class: "name" }, each.name), element("span", { class: "gist" }, each.summary)]);
      const item = element("li", {}, link);
      const words = [each.name.replaceAll("_", " "), each.name, each.family, each.summary, each.result, ...each.arguments.map((a) => a.title)];
      lines.push({ item, link, name: each.name, text: words.join(" ").toLowerCase() });
      return item;
    });
    return element("section", { "aria-labelledby": `family-${number}` }, [
      element("h2", { id: `family-${number}` }, family), element("ul", {}, items),
    ]);
  }));
}

function filter() {
  const wanted = $("search").value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  for (const line of lines) {
    line.item.hidden = !wanted.every((word) => line.text.includes(word));
    count += line.item.hidden ? 0 : 1;
  }
  for (const section of $("list").children) section.hidden = !section.querySelector("li:not([hidden])");
  $("found").textContent = wanted.length ? `${count} functions found` : "";
  $("found").className = wanted.length && !count ? "none" : "unseen";
}

function route(event) {
  const described = known.find(({ name }) => location.hash === `#/f/${name}`);
  const connect = location.hash === "#/connect";
  document.body.dataset.view = described || connect ? "detail" : "list";
  for (const { link, name } of lines) {
    if (name === described?.name) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  if (connect) $("to-connect").setAttribute("aria-current", "page");
  else $("to-connect").removeAttribute("aria-current");
  if (described) showFunction(described);
  else if (connect) showConnect();
  else showWelcome();
  document.title = described ? `${described.cell_name} – Dampcell` : connect ? "Connect – Dampcell" : "Dampcell";
  // Only after a choice: at the first load the focus stays where the browser puts it.
  if (event) {
    window.scrollTo(0, 0);
    if (document.body.dataset.view === "detail") main.focus({ preventScroll: true });
  }
}

$("search").addEventListener("input", filter);
$("search").addEventListener("keydown", (event) => {
  const first = lines.find(({ item }) => !item.hidden);
  if (event.key === "Enter" && first) location.hash = `#/f/${first.name}`;
});
$("skip").addEventListener("click", (event) => {
  event.preventDefault();
  if (document.body.dataset.view === "list" && getComputedStyle(main).display === "none") $("search").focus();
  else main.focus();
});

async function start() {
  let problem = "";
  try {
    await takeKey();
  } catch (error) {
    problem = error.message;
  }
  await look();
  if (problem && $("status").dataset.state !== "good") warn(problem);
  try {
    [known, connecting] = await Promise.all([functions(), guides()]);
  } catch (error) {
    main.replaceChildren(errorShown("", error.message));
    document.body.dataset.view = "detail";
    setTimeout(start, LOOK_EVERY);
    return;
  }
  buildList();
  route();
  window.addEventListener("hashchange", async (event) => {
    if (location.hash.startsWith("#key=")) {
      // A new link opened in the same tab.
      try { await takeKey(); } catch (error) { warn(error.message); }
      await look();
    }
    route(event);
  });
  setInterval(() => { if (!document.hidden) look(); }, LOOK_EVERY);
}

start();
