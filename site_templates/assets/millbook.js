"use strict";
// Small helps for reading. Every page says all it has to say without them.

// A link to a figure opens its working.
function openTarget() {
  let name = "";
  try {
    name = decodeURIComponent(location.hash.slice(1));
  } catch {
    return; // an address edited by hand names no figure
  }
  const target = name && document.getElementById(name);
  const fold = target && target.closest("details");
  if (fold) {
    for (let outer = fold; outer; outer = outer.parentElement?.closest("details")) outer.open = true;
    fold.classList.toggle("mb-read", fold.matches(".mb-figure"));
    target.scrollIntoView();
  }
}
addEventListener("hashchange", openTarget);
openTarget();

// What is folded away is printed. Of the figures only those whose working the reader opened show it on paper, where
// a hundred workings would bury the page; the theme's script, once it works the search, opens them all.
document.addEventListener("click", (event) => {
  const fold = event.target.closest(".mb-figure > summary")?.parentElement;
  if (fold) fold.classList.toggle("mb-read", !fold.open);
});
let opened = [];
addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll(".md-content details.mb-fold:not([open])")];
  for (const fold of opened) fold.open = true;
});
addEventListener("afterprint", () => {
  for (const fold of opened) fold.open = false;
  opened = [];
});

// A photo opens large in place; without a dialog the link simply leads to it.
const photos = [...document.querySelectorAll(".mb-photos a")];
if (photos.length && window.HTMLDialogElement) {
  const box = document.createElement("dialog");
  box.className = "mb-viewer";
  box.innerHTML =
    '<figure><img alt=""><figcaption></figcaption></figure><form method="dialog">' +
    '<button type="button" value="-1">Earlier photo</button><button type="button" value="1">Next photo</button>' +
    "<button>Close</button></form>";
  document.body.append(box);
  const [image, words] = [box.querySelector("img"), box.querySelector("figcaption")];
  const steps = [...box.querySelectorAll("button[value]")];
  let at = 0;
  const show = (index) => {
    at = (index + photos.length) % photos.length;
    const small = photos[at].querySelector("img");
    image.src = photos[at].href;
    image.alt = small ? small.alt : "";
    const caption = photos[at].closest("figure")?.querySelector("figcaption");
    words.textContent = `${caption ? caption.textContent.trim() : image.alt} (${at + 1} of ${photos.length})`;
  };
  photos.forEach((link, index) =>
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      show(index);
      for (const step of steps) step.hidden = photos.length < 2;
      box.showModal();
    }),
  );
  for (const step of steps) step.addEventListener("click", () => show(at + Number(step.value)));
  box.addEventListener("keydown", (event) => {
    if (event.key === "ArrowLeft") show(at - 1);
    if (event.key === "ArrowRight") show(at + 1);
  });
  box.addEventListener("click", (event) => {
    if (event.target === box) box.close();
  });
  box.addEventListener("close", () => photos[at].focus());
}

// The style sheet leaves what lies far down out of the first layout. Once the page stands it is laid out bit by bit,
// so that the page has its true height, and no step takes long; what is very long is left to the browser.
const waiting = [...document.querySelectorAll(
  ".mb-plain, .mb-figures, .mb-verdict, .md-typeset > .mb-inputs, .md-typeset > .mb-scroll, .mb-cards > *",
)];
const soon = window.requestIdleCallback || ((step) => setTimeout(step, 50));
function layOut() {
  for (let count = 0; waiting.length && count < 80;) {
    const next = waiting.shift();
    const size = next.getElementsByTagName("*").length;
    if (size < 400) next.style.contentVisibility = "visible";
    count += size;
  }
  if (waiting.length) requestAnimationFrame(() => soon(layOut));
}
addEventListener("load", () => soon(layOut));

// A box that scrolls sideways can be reached by the keyboard, one that does not is no stop on the way. Boxes are
// looked at when the browser has laid them out, so that those far down or folded away cost nothing.
if (window.ResizeObserver) {
  const sized = new ResizeObserver((entries) => {
    const boxes = [...new Set(entries.map(({ target }) => target.closest(".mb-scroll")))];
    const wide = boxes.map((box) => box.scrollWidth > box.clientWidth + 1);
    // Of a box that is not laid out yet nothing is known: it stays the stop that it is.
    const there = boxes.map((box) => box.firstElementChild?.checkVisibility?.({ contentVisibilityAuto: true }) ?? true);
    boxes.forEach((box, index) => {
      if (wide[index]) box.tabIndex = 0;
      else if (there[index]) box.removeAttribute("tabindex");
    });
  });
  // What is in a box may grow without the box.
  for (const part of document.querySelectorAll(".mb-scroll, .mb-scroll > *")) sized.observe(part);
}

// The text search is the theme's. Its script takes long to start, so it is fetched when a reader turns to the search.
const query = document.querySelector(".md-search__input");
const later = document.querySelector("script[data-later]");
if (query && later) {
  query.addEventListener("focus", () => {
    const script = document.createElement("script");
    script.src = later.dataset.later;
    script.onload = () => window.document$.next(document); // it waits for an event that has been
    document.getElementById("__search").checked = true;
    document.body.append(script);
  }, { once: true });
}

// On a narrow screen the search opens over the page.
for (const loupe of document.querySelectorAll(".mb-search-open")) {
  loupe.addEventListener("click", () => {
    document.getElementById("__search").checked = true;
    query.focus();
  });
}

// One button turns the page from light to dark and back; it is kept for the next page.
for (const button of document.querySelectorAll(".mb-light")) {
  button.addEventListener("click", () => {
    const inputs = [...document.querySelectorAll('[name="__palette"]')];
    const index = inputs.findIndex((input) => input.dataset.mdColorScheme !== document.body.dataset.mdColorScheme);
    const { mdColorMedia: media, mdColorScheme: scheme, mdColorPrimary: primary, mdColorAccent: accent } = inputs[index].dataset;
    mbColours(inputs[index]);
    __md_set("__palette", { index, color: { media, scheme, primary, accent } });
    inputs[index].checked = true;
    inputs[index].dispatchEvent(new Event("change", { bubbles: true })); // for the theme's script, where it runs
  });
}

// The contents beside the page say where the reader is, and keep that entry in view.
const side = document.querySelector(".mb-side");
const places = [...document.querySelectorAll(".mb-side a")]
  .map((link) => ({ link, heading: document.getElementById(decodeURIComponent(link.hash.slice(1))) }))
  .filter((place) => place.heading);
let asked = false;
let current = null;
function follow() {
  asked = false;
  if (!side.clientHeight) return; // a narrow screen has its contents above the page
  const passed = places.filter(({ heading }) => heading.getBoundingClientRect().top < 90);
  const link = passed.length ? passed[passed.length - 1].link : null;
  if (link === current) return;
  current?.removeAttribute("aria-current");
  link?.setAttribute("aria-current", "true");
  current = link;
  if (!link) side.scrollTop = 0;
  else if (link.offsetTop < side.scrollTop || link.offsetTop + link.offsetHeight > side.scrollTop + side.clientHeight) {
    side.scrollTop = link.offsetTop - side.clientHeight / 2;
  }
}
if (places.length) {
  addEventListener("scroll", () => {
    if (!asked) requestAnimationFrame(follow);
    asked = true;
  }, { passive: true });
}
