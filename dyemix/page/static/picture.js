// A picture chosen or dropped goes to the program on this machine; the frame in it is moved by keys or
// by a click. What lies in the frame is worked out there.

import { go, working } from "./page.js";

const STEP = 20;

async function send(file, to) {
  const sending = new AbortController(), end = working(() => sending.abort());
  try {
    const answer = await fetch("/picture", {
      method: "POST", headers: { "x-dyemix": "1", "x-name": encodeURIComponent(file.name) }, body: file, signal: sending.signal,
    });
    const words = await answer.text();
    end();
    if (answer.ok) go(`${to}${to.includes("?") ? "&" : "?"}picture=${words}`);
    else alertAt(words);
  } catch (error) {
    end();
    alertAt(error.name === "AbortError" ? "Stopped." : "The page is not answering: choose the picture again.");
  }
}

function alertAt(words) {
  document.querySelector(".no-picture")?.remove();
  const note = document.createElement("p");
  note.className = "fault no-picture";
  note.setAttribute("role", "alert");
  note.textContent = `! ${words}`;
  document.querySelector(".from-picture").after(note);
}

function moved(seen, x, y, side) {
  const to = seen.dataset.to;
  go(`${to}${to.includes("?") ? "&" : "?"}frame=${[x, y, side].map(Math.round).join(",")}`);
}

document.addEventListener("change", (event) => {
  if (event.target.id === "picture" && event.target.files[0]) send(event.target.files[0], event.target.dataset.to);
});
for (const kind of ["dragover", "drop"]) {
  document.addEventListener(kind, (event) => {
    const field = document.getElementById("picture");
    if (!field || !event.dataTransfer) return;
    event.preventDefault();
    if (kind === "drop" && event.dataTransfer.files[0]) send(event.dataTransfer.files[0], field.dataset.to);
  });
}
document.addEventListener("click", (event) => {
  const seen = event.target.closest("#seen");
  if (!seen) return;
  const box = seen.getBoundingClientRect(), side = Number(seen.dataset.frame.split(",")[2]);
  moved(seen, ((event.clientX - box.left) / box.width) * 1000, ((event.clientY - box.top) / box.height) * 1000, side);
});
document.addEventListener("keydown", (event) => {
  if (event.target.id !== "seen") return;
  const [x, y, side] = event.target.dataset.frame.split(",").map(Number);
  const by = { ArrowLeft: [-STEP, 0, 0], ArrowRight: [STEP, 0, 0], ArrowUp: [0, -STEP, 0], ArrowDown: [0, STEP, 0], PageUp: [0, 0, STEP], PageDown: [0, 0, -STEP] }[event.key];
  if (!by) return;
  event.preventDefault();
  moved(event.target, x + by[0], y + by[1], side + by[2]);
});
