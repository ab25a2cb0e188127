"use strict";
// Opens the entry a link points into, also where the browser does not do so by itself.
function reveal() {
  const place = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!place) return;
  for (let at = place; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
  (place.closest("details") ?? place).scrollIntoView({ block: "start" });
}
addEventListener("hashchange", reveal);
reveal();
// On paper nothing is folded, except serves that nobody opened: the style sheet says so to newer
// browsers, this to the others.
let unfolded = [];
addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("details:not([open])")].filter((d) => !d.matches(".practices .serve"));
  unfolded.forEach((d) => { d.open = true; });
});
addEventListener("afterprint", () => unfolded.forEach((d) => { d.open = false; }));
// A picture with points is one stop of the Tab key; arrows walk along its points, a line reads them out.
for (const picture of document.querySelectorAll("svg[role=group]")) {
  const points = [...picture.querySelectorAll("a")];
  const line = document.createElement("p");
  line.className = "read foot";
  line.setAttribute("aria-hidden", "true"); // each point has its own label
  picture.closest("figure").append(line);
  points.forEach((point, k) => {
    point.tabIndex = k ? -1 : 0;
    const tell = () => { line.textContent = point.getAttribute("aria-label"); };
    point.addEventListener("pointerenter", tell);
    point.addEventListener("focus", tell);
    point.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 1, ArrowUp: -1 }[event.key];
      const next = event.key === "Home" ? points[0] : event.key === "End" ? points.at(-1) : step && points[k + step];
      if (!next) return;
      event.preventDefault();
      point.tabIndex = -1;
      next.tabIndex = 0;
      next.focus();
    });
  });
}
