// Presses and links are answered without a new page, one after the other, so that none is lost.
// Every view has its own address: without this script the page works by plain links and forms.

const PATIENCE = 500, QUEUE = 20, SOON = 2;
const said = document.getElementById("said");
let asking = null, queue = [], resting = 0;

function say(words) {
  clearTimeout(resting);
  resting = setTimeout(() => { said.textContent = words; }, PATIENCE);
}

function sameAgain(old) {
  // The same control in the view that came: by its id, its key, what it does, or what a link says.
  if (!old || old === document.body) return null;
  const marks = [old.id && `#${CSS.escape(old.id)}`, old.dataset.key && `[data-key="${CSS.escape(old.dataset.key)}"]`,
    old.name && old.value && `[name="${CSS.escape(old.name)}"][value="${CSS.escape(old.value)}"]`,
    old.getAttribute("aria-label") && `[aria-label="${CSS.escape(old.getAttribute("aria-label"))}"]`];
  for (const mark of marks) {
    const found = mark && document.querySelector(mark);
    if (found && !found.disabled) return found;
  }
  const links = old.matches("a[href]") ? [...document.querySelectorAll("a[href]")] : [];
  return links.find((link) => link.textContent === old.textContent) ?? null;
}

function show(text, address, keep) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const place = location.pathname, had = document.activeElement, within = had && had.closest("main");
  const opened = [...document.querySelectorAll("details[open] > summary")].map((s) => s.textContent);
  for (const part of ["#slip", "main"]) {
    document.querySelector(part).replaceWith(document.adoptNode(fresh.querySelector(part)));
  }
  document.title = fresh.title;
  document.body.className = fresh.body.className;
  if (keep) history.pushState(null, "", address);
  for (const s of document.querySelectorAll("details > summary")) s.parentElement.open = opened.includes(s.textContent);
  const same = sameAgain(had);
  if (same) same.focus({ preventScroll: true });
  else if (location.pathname !== place || within) document.querySelector("main").focus();
  if (location.pathname !== place) scrollTo(0, 0);
  const fault = document.querySelector(".fault"), miss = document.getElementById("miss");
  say(fault ? fault.textContent : miss ? miss.innerText : document.querySelector("h1").textContent);
}

// What takes longer than `SOON` seconds counts them, says how far it is, and can be stopped.
export function working(stop) {
  const note = document.createElement("p"), told = document.createElement("span"), began = performance.now();
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: "Stop", onclick: stop });
  note.className = "working";
  note.append(told, button);
  const counting = setInterval(async () => {
    const seconds = Math.floor((performance.now() - began) / 1000);
    if (seconds < SOON) return;
    const done = await fetch("/waiting").then((answer) => answer.text(), () => "");
    told.textContent = `Still working: ${seconds} s${done && `, ${done}`}. What stands below is as it was. `;
    if (!note.isConnected && document.body.classList.contains("waiting")) {
      document.querySelector("h1").after(note);
      say(told.textContent);
    }
  }, 1000);
  document.body.classList.add("waiting");
  return () => {
    clearInterval(counting);
    document.body.classList.remove("waiting");
    note.remove();
  };
}

export function go(address) {
  if (!asking) ask(address);
}

async function ask(address, keep = true) {
  const mine = asking = new AbortController();
  const end = working(() => {
    fetch("/waiting", { method: "POST", headers: { "x-dyemix": "1" }, body: "" });
    mine.abort();
  });
  try {
    const answer = await fetch(address, { headers: { "x-dyemix": "1" }, signal: asking.signal });
    const text = await answer.text();
    if (answer.headers.get("content-type").startsWith("text/html")) {
      show(text, answer.headers.get("content-location") || address, keep && answer.ok);
    } else { complain(text); }
  } catch (error) {
    complain(error.name === "AbortError" ? "Stopped: what stands below is as it was." :
      "The page is not answering: is dyemix still running? What you typed stays here.", address);
    queue = [];
  }
  asking = null;
  end();
  while (!asking && queue.length) queue.shift()();
}

function later(press) {
  if (queue.length < QUEUE) queue.push(press);
}

function complain(words, again) {
  document.querySelector(".broken")?.remove();
  const note = document.createElement("p");
  note.className = "fault broken";
  note.setAttribute("role", "alert");
  note.textContent = `! ${words} `;
  if (again) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Try again";
    button.onclick = () => ask(again);
    note.append(button);
  }
  document.querySelector("h1").after(note);
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  const by = event.submitter;
  if (asking) { if (by) later(() => sameAgain(by)?.click()); return; }
  const form = new FormData(event.target, by);
  ask(`${event.target.getAttribute("action")}?${new URLSearchParams(form)}`);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (link && link.origin === location.origin && !link.hash && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    if (!asking) ask(link.href);
    else later(() => sameAgain(link)?.click());
  }
  const pot = event.target.closest("[data-lay]");
  if (pot) {
    const column = pot.closest(".column"), on = pot.getAttribute("aria-pressed") !== "true";
    for (const other of column.querySelectorAll("[data-lay]")) other.setAttribute("aria-pressed", String(other === pot && on));
    const patch = column.querySelector(".lies"), code = column.querySelector(".lying"), how = column.querySelector(".how");
    patch.dataset.own ??= patch.getAttribute("fill");
    how.dataset.own ??= how.textContent;
    patch.setAttribute("fill", on ? pot.dataset.lay : patch.dataset.own);
    code.textContent = on ? pot.dataset.lay : patch.dataset.own;
    how.textContent = on ? `this pot: ${pot.dataset.how}` : how.dataset.own;
    say(`${code.textContent}, ${how.textContent}`);
  }
  if (event.target.closest(".open-slip")) {
    const open = document.getElementById("slip").classList.toggle("open");
    event.target.setAttribute("aria-expanded", String(open));
  }
  if (event.target.closest("[data-print]")) print();
  const keeper = event.target.closest("[data-keep]");
  if (keeper) {
    keeper.disabled = true;
    fetch(keeper.dataset.keep, { method: "POST", headers: { "x-dyemix": "1" }, body: "" })
      .then(async (answer) => {
        const words = await answer.text();
        if (!answer.ok) { keeper.disabled = false; complain(words); return; }
        keeper.textContent = words;
        say(words);
      })
      .catch(() => { keeper.disabled = false; complain("The book is not answering: nothing was kept. Press again."); });
  }
});

document.addEventListener("keydown", (event) => {
  const field = event.target.closest("input.set-to");
  if (!field) return;
  const how = { ArrowUp: "more", ArrowDown: "less", PageUp: "up", PageDown: "down", Home: "home" }[event.key];
  if (event.key === "Escape") field.value = field.defaultValue;
  if (!how) return;
  event.preventDefault();
  if (!asking) move(field, how);
  else if (!event.repeat) later(() => move(sameAgain(field), how));
});

function move(field, how) {
  if (!field) return;
  const form = new FormData(field.form);
  form.set("press", `${how}|${field.dataset.jar}`);
  ask(`/jars?${new URLSearchParams(form)}`);
}

document.addEventListener("input", (event) => {
  const find = event.target.closest("[data-find]");
  if (!find) return;
  const words = find.value.toLowerCase().split(/\s+/), lines = [...document.querySelectorAll(find.dataset.find)];
  for (const line of lines) {
    line.hidden = !words.every((word) => line.dataset.words.toLowerCase().includes(word));
  }
  say(`${lines.filter((line) => !line.hidden).length} of ${lines.length} jobs`);
});

addEventListener("popstate", () => ask(location.href, false));
