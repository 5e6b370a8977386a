// The entry of the task pane: takes the link of the server once, and keeps the token for the cell functions.

(() => {
  "use strict";

  const VERSION = "{{version}}";
  const TOKEN = "dampcell-token";
  const AWAY = "The calculation server does not answer. Start it with “dampcell serve”.";

  function kept(store) {
    try {
      return globalThis[store].getItem(TOKEN) ?? "";
    } catch {
      return "";
    }
  }

  function keep(token) {
    for (const store of ["localStorage", "sessionStorage"]) {
      try {
        globalThis[store].setItem(TOKEN, token);
      } catch {
        // A browser may keep its stores closed to a page in a frame; one of the two is enough.
      }
    }
  }

  async function session(key) {
    const response = await fetch("v1/session", {
      method: "POST", cache: "no-store", credentials: "omit",
      headers: { "Content-Type": "application/json" }, body: JSON.stringify({ version: VERSION, key }),
    });
    const told = await response.json();
    if (!response.ok) throw new Error(told.error?.message ?? AWAY);
    return told.token;
  }

  async function mayCalculate() {
    const response = await fetch("v1/health", { headers: { Authorization: `Bearer ${kept("sessionStorage")}` }, cache: "no-store", credentials: "omit" });
    return (await response.json()).authorised;
  }

  async function start() {
    const form = document.getElementById("unlock");
    const field = document.getElementById("unlock-link");
    const problem = document.getElementById("unlock-problem");
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const key = /#key=([\w-]+)\s*$/.exec(field.value)?.[1];
      if (!key) {
        problem.textContent = "That is not the link: it begins with http and ends with #key= and many letters.";
        return;
      }
      try {
        keep(await session(key));
        location.reload();
      } catch (error) {
        problem.textContent = error instanceof TypeError ? AWAY : error.message;
      }
    });
    try {
      form.hidden = await mayCalculate();
    } catch {
      form.hidden = false;
    }
  }

  // The page reads the token of its own tab; what the add-in keeps outlives that.
  if (kept("localStorage")) keep(kept("localStorage"));
  document.addEventListener("DOMContentLoaded", start);
})();
