"use strict";
// Small conveniences. Every page is complete without them.

// Open the working of the figure that the address names.
function openTarget() {
  let id = "";
  try {
    id = decodeURIComponent(location.hash.slice(1));
  } catch {
    return; // not a valid address
  }
  const target = id && document.getElementById(id);
  const details = target && target.closest("details");
  if (details) {
    for (let outer = details; outer; outer = outer.parentElement?.closest("details")) outer.open = true;
    target.scrollIntoView();
  }
}
addEventListener("hashchange", openTarget);
openTarget();

// Details are printed as they are on screen. The theme's script, once loaded for the search, opens them all for the
// printer: those that were closed print their title only, and are closed again.
let closedDetails = [];
addEventListener("beforeprint", () => {
  closedDetails = [...document.querySelectorAll(".md-content details:not([open])")];
  for (const details of closedDetails) details.classList.add("mb-closed");
});
addEventListener("afterprint", () => {
  for (const details of closedDetails) {
    details.classList.remove("mb-closed");
    details.open = false;
  }
  closedDetails = [];
});

// A photo opens in a dialog; in browsers without dialogs the link leads to it.
const photos = [...document.querySelectorAll(".mb-photos a")];
if (photos.length && window.HTMLDialogElement) {
  const dialog = document.createElement("dialog");
  dialog.className = "mb-viewer";
  dialog.innerHTML =
    '<figure><img alt=""><figcaption></figcaption></figure><form method="dialog">' +
    '<button type="button" value="-1">Earlier photo</button><button type="button" value="1">Next photo</button>' +
    "<button>Close</button></form>";
  document.body.append(dialog);
  const [image, caption] = [dialog.querySelector("img"), dialog.querySelector("figcaption")];
  const stepButtons = [...dialog.querySelectorAll("button[value]")];
  let current = 0;
  const show = (index) => {
    current = (index + photos.length) % photos.length;
    const thumbnail = photos[current].querySelector("img");
    image.src = photos[current].href;
    image.alt = thumbnail ? thumbnail.alt : "";
    const text = photos[current].closest("figure")?.querySelector("figcaption")?.textContent.trim() ?? image.alt;
    caption.textContent = `${text} (${current + 1} of ${photos.length})`;
  };
  photos.forEach((link, index) =>
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      show(index);
      for (const button of stepButtons) button.hidden = photos.length < 2;
      dialog.showModal();
    }),
  );
  for (const button of stepButtons) button.addEventListener("click", () => show(current + Number(button.value)));
  dialog.addEventListener("keydown", (event) => {
    if (event.key === "ArrowLeft") show(current - 1);
    if (event.key === "ArrowRight") show(current + 1);
  });
  dialog.addEventListener("click", (event) => {
    if (event.target === dialog) dialog.close();
  });
  dialog.addEventListener("close", () => photos[current].focus());
}

// The style sheet leaves elements far down out of the first layout. Once the page is loaded they get their layout in
// short steps, so that the page has its true height; very long ones are left to the browser.
const deferred = [...document.querySelectorAll(
  ".mb-plain, .mb-figures, .mb-verdict, .md-typeset > .mb-inputs, .md-typeset > .mb-scroll, .mb-cards > *",
)];
const whenIdle = window.requestIdleCallback || ((callback) => setTimeout(callback, 50));
function layOutNext() {
  for (let count = 0; deferred.length && count < 80;) {
    const element = deferred.shift();
    const size = element.getElementsByTagName("*").length;
    if (size < 400) element.style.contentVisibility = "visible";
    count += size;
  }
  if (deferred.length) requestAnimationFrame(() => whenIdle(layOutNext));
}
addEventListener("load", () => whenIdle(layOutNext));

// A box that scrolls sideways can have the keyboard's focus, others cannot. Boxes are measured once they have a
// layout, so that those far down or in closed details cost nothing.
if (window.ResizeObserver) {
  const observer = new ResizeObserver((entries) => {
    const boxes = [...new Set(entries.map(({ target }) => target.closest(".mb-scroll")))];
    const scrolls = boxes.map((box) => box.scrollWidth > box.clientWidth + 1);
    // A box without a layout keeps its tab stop.
    const visible = boxes.map((box) => box.firstElementChild?.checkVisibility?.({ contentVisibilityAuto: true }) ?? true);
    boxes.forEach((box, index) => {
      if (scrolls[index]) box.tabIndex = 0;
      else if (visible[index]) box.removeAttribute("tabindex");
    });
  });
  // The content of a box may grow while the box does not.
  for (const element of document.querySelectorAll(".mb-scroll, .mb-scroll > *")) observer.observe(element);
}

// The script of the charts is loaded where a page has a chart that can be read off.
const ownAddress = document.currentScript?.src;
if (ownAddress && document.querySelector("[data-mb-chart]")) {
  whenIdle(() => {
    const script = document.createElement("script");
    script.src = new URL("charts.js", ownAddress);
    document.body.append(script);
  });
}

// The text search is the theme's. Its script is slow to start, so it is loaded when the search gets the focus.
const query = document.querySelector(".md-search__input");
const searchScript = document.querySelector("script[data-later]");
if (query && searchScript) {
  query.addEventListener("focus", () => {
    const script = document.createElement("script");
    script.src = searchScript.dataset.later;
    script.onload = () => window.document$.next(document); // the event it waits for is over
    document.getElementById("__search").checked = true;
    document.body.append(script);
  }, { once: true });
}

// On a narrow screen the search opens over the page.
for (const button of document.querySelectorAll(".mb-search-open")) {
  button.addEventListener("click", () => {
    document.getElementById("__search").checked = true;
    query.focus();
  });
}

// One button switches between light and dark, for the pages that follow too.
for (const button of document.querySelectorAll(".mb-light")) {
  button.addEventListener("click", () => {
    const inputs = [...document.querySelectorAll('[name="__palette"]')];
    const index = inputs.findIndex((input) => input.dataset.mdColorScheme !== document.body.dataset.mdColorScheme);
    const { mdColorMedia: media, mdColorScheme: scheme, mdColorPrimary: primary, mdColorAccent: accent } = inputs[index].dataset;
    mbColours(inputs[index]);
    __md_set("__palette", { index, color: { media, scheme, primary, accent } });
    inputs[index].checked = true;
    inputs[index].dispatchEvent(new Event("change", { bubbles: true })); // for the theme's script, where it is loaded
  });
}

// The contents next to the page mark the section on screen and keep its entry in view.
const side = document.querySelector(".mb-side");
const entries = [...document.querySelectorAll(".mb-side a")]
  .map((link) => ({ link, heading: document.getElementById(decodeURIComponent(link.hash.slice(1))) }))
  .filter((entry) => entry.heading);
let scheduled = false;
let currentLink = null;
function markCurrentSection() {
  scheduled = false;
  if (!side.clientHeight) return; // on a narrow screen the contents are above the page
  const passed = entries.filter(({ heading }) => heading.getBoundingClientRect().top < 90);
  const link = passed.length ? passed[passed.length - 1].link : null;
  if (link === currentLink) return;
  currentLink?.removeAttribute("aria-current");
  link?.setAttribute("aria-current", "true");
  currentLink = link;
  if (!link) side.scrollTop = 0;
  else if (link.offsetTop < side.scrollTop || link.offsetTop + link.offsetHeight > side.scrollTop + side.clientHeight) {
    side.scrollTop = link.offsetTop - side.clientHeight / 2;
  }
}
if (entries.length) {
  addEventListener("scroll", () => {
    if (!scheduled) requestAnimationFrame(markCurrentSection);
    scheduled = true;
  }, { passive: true });
}
